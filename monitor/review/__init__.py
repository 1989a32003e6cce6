"""What the kept records teach: traces of lost bags, forecasts, losses. Reads, computes, returns."""
