"""Settings: two YAML files, checked whole, told with line and column where they are wrong."""
