"""Sources of readings: MQTT brokers, serial ports, the 1-wire file tree, folders of CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.clock import Clock
    from monitor.settings.schema_sources import SourceSettings
    from monitor.sources.source import Source


def build_source(
    settings: SourceSettings, clock: Clock, session: str = "", trial: bool = False
) -> Source:
    """The source that `settings` describe, not started.

    `session` is the newest `Packet.session` of this source kept by an earlier run, so that a
    message handed over twice across a restart is known again. A `trial` takes nothing from a
    watch that runs with the same settings.
    Imports only what the kind needs: a Pi without a broker does not pay for one.
    """
    if settings.kind == "mqtt":
        from monitor.sources.mqtt import MqttSource  # noqa: PLC0415

        return MqttSource(settings, clock, session, trial)
    if settings.kind == "serial":
        from monitor.sources.serial import SerialSource  # noqa: PLC0415

        return SerialSource(settings, clock)
    from monitor.sources.onewire import OneWireSource  # noqa: PLC0415

    return OneWireSource(settings, clock)
