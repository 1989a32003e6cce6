"""Good settings: the sample that ships, inheritance of strains, secrets, odd but sound files."""

from __future__ import annotations

import math
import pickle
import re
import shutil
from datetime import date
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor.errors import SettingsError
from monitor.judge.strain import CoreLimit, Strain
from monitor.settings.load import load_settings, load_strains
from monitor.settings.schema import MqttSettings, RecipientSettings, Secret, Settings
from monitor.values import AlarmKind, Urgency

CONFIG = Path(__file__).parents[2] / "config"
ROOM = "room: {name: R, folder: ., timezone: Asia/Tokyo, band_low: 68 F, band_high: 25}\n"
REST = "channels: none\nstore: {path: room.db}\n"


def load(folder: Path, text: str, strains: str = "", **env: str) -> Settings:
    (folder / "monitor.yaml").write_text(text, encoding="utf-8")
    if strains:
        (folder / "strains.yaml").write_text(strains, encoding="utf-8")
    return load_settings(folder, env)


def test_sample_loads_as_it_ships() -> None:
    sample = load_settings(CONFIG, {})
    assert sample.channels_none
    assert sample.room.folder == CONFIG / "room"
    assert sample.probes["air-low"].calibrated == date(2026, 2, 11)
    assert sample.notes == ()


def test_sample_loads_when_everything_switched_off_is_switched_on(tmp_path: Path) -> None:
    shutil.copytree(CONFIG / "room", tmp_path / "room")
    (tmp_path / "secrets").mkdir()
    secrets = {
        "broker": "pw",
        "owner-phone": "json://127.0.0.1:9",
        "ca.pem": "",
        "mirror": "a token",
        "heartbeat": "http://127.0.0.1:9/beat",
        "page-owner": f"scrypt:16384:8:1:{'0' * 32}:{'0' * 64}",
        "page-phone": f"link:{'0' * 64}",
    }
    for name, secret in secrets.items():
        path = tmp_path / "secrets" / name
        path.write_text(secret, encoding="utf-8")
        path.chmod(0o600)
    text = (CONFIG / "monitor.yaml").read_text(encoding="utf-8").replace("channels: none\n", "")
    text = re.sub(r"^#(?! \S|$)", "", text, flags=re.MULTILINE)
    env = {"BAGWATT_OWNER_MAIL": "mailto://127.0.0.1", "BAGWATT_HAND_PUSH": "json://127.0.0.1"}
    loaded = load(tmp_path, text, **env)
    assert [source.kind for source in loaded.sources] == ["mqtt", "serial", "onewire"]
    assert [recipient.name for recipient in loaded.recipients] == ["owner", "room hand"]
    assert isinstance(loaded.sources[0], MqttSettings)
    assert loaded.sources[0].password == Secret("pw")
    assert len(loaded.sources[0].topics) == 4
    assert loaded.heartbeat is not None
    assert loaded.heartbeat.url == Secret("http://127.0.0.1:9/beat")
    assert loaded.mirror is not None and loaded.mirror.token == Secret("a token")
    assert loaded.neighbours is not None and loaded.neighbours.password == Secret("pw")
    assert loaded.neighbours.bags and not loaded.neighbours.senml
    assert loaded.page is not None
    assert [person.name for person in loaded.page.people] == ["owner", "room phone"]


def test_units_in_values_become_si(tmp_path: Path) -> None:
    text = (
        ROOM.replace("}", ", band_hold: 1.5 h, slope_limit: 3.6 F/h}")
        + "probes: {a: {offset: 3 F}, 12:30: {offset: -.5}, no: {}}\n"
        + "recipients: [{name: o, urls: [{env: U}], quiet: {from: '22:00', until: '6:30'}}]\n"
        + "store: {path: /var/lib/room.db, retention: 90 days, commit_every: 500 ms}\n"
    )
    loaded = load(tmp_path, text, U="json://127.0.0.1")
    assert loaded.room.band_low_c == pytest.approx(20.0)
    assert loaded.room.band_high_c == 25.0
    assert loaded.room.band_hold_s == 5400.0
    assert loaded.room.slope_limit_k_per_h == pytest.approx(2.0)
    assert loaded.probes["a"].offset_k == pytest.approx(5.0 / 3.0)  # a difference: no 32 in it
    assert loaded.probes["12:30"].offset_k == -0.5
    assert "no" in loaded.probes
    assert loaded.store.path == Path("/var/lib/room.db")
    assert loaded.store.retention_days == 90.0
    assert loaded.store.commit_every_s == 0.5
    quiet = loaded.recipients[0].quiet
    assert quiet is not None
    assert (quiet.from_minute, quiet.until_minute) == (1320, 390)


def test_file_with_byte_order_mark_and_windows_line_ends_loads(tmp_path: Path) -> None:
    text = "\ufeff" + (ROOM + REST).replace("\n", "\r\n")
    assert load(tmp_path, text).room.timezone == "Asia/Tokyo"


def test_comment_glued_to_a_value_is_noted_with_its_place(tmp_path: Path) -> None:
    text = ROOM + REST + "probes:\n  farm #1: {}\n"
    with pytest.raises(SettingsError):  # here the comment swallows the colon
        load(tmp_path, text)
    text = "room:\n  name: Farm #1\n  folder: . # this one\n  timezone: UTC\n"
    loaded = load(tmp_path, text + "  band_low: 20\n  band_high: 25\n" + REST, "strains: {A: {}}")
    (note,) = loaded.notes
    assert "monitor.yaml:2:9: room.name: `Farm`: what follows ` #` is a comment" in note


def test_missing_strains_file_gives_generic_strains_and_a_note(tmp_path: Path) -> None:
    loaded = load(tmp_path, ROOM + REST)
    assert loaded.strains.lookup("GO-12") == Strain(name="GO-12", known=False)
    assert "every strain gets generic values" in loaded.notes[0]


def test_strain_inherits_value_by_value_from_group_and_defaults(tmp_path: Path) -> None:
    strains = """
defaults: {least_excess: 0.5 K, hold: 2 h, false_calls_per_100: 1, heat: {keep: 0.4}}
groups:
  oyster:
    hold: 30 min
    band: {low: 20, high: 22}
    core_limits: [{core: 90 F, duration: 4 d}]
    heat: {peak: 1.9 K, peak_at: 5 d}
strains:
  GO-12: {group: oyster, false_calls_per_100: 2, heat: {peak: 2 K}}
  X: {}
"""
    book = load(tmp_path, ROOM + REST, strains).strains
    strain = book.lookup("GO-12")
    assert (strain.name, strain.group, strain.known) == ("GO-12", "oyster", True)
    assert (strain.least_excess_k, strain.hold_s, strain.false_calls_per_100) == (0.5, 1800.0, 2.0)
    assert strain.core_limits == (CoreLimit(pytest.approx(32.2222, abs=1e-4), 4 * 86400.0),)
    assert (strain.prior.peak_k, strain.prior.peak_h, strain.prior.keep) == (2.0, 120.0, 0.4)
    assert strain.prior.rise_h == Strain().prior.rise_h
    assert book.bands_c == {"GO-12": (20.0, 22.0)}
    assert book.lookup("X").hold_s == 7200.0
    assert book.lookup("never met") == Strain(
        name="never met", least_excess_k=0.5, hold_s=7200.0, false_calls_per_100=1.0,
        prior=book.generic.prior,
    )  # fmt: skip


def test_hybrid_is_expected_between_its_parents_and_held_to_both_their_limits(
    tmp_path: Path,
) -> None:
    strains = """
strains:
  A: {run: {shortest: 12 d, longest: 20 d}, hold: 5 h, heat: {peak: 1 K, peak_sd: 0.3 K},
      core_limits: [{core: 33, duration: 4 d}, {core: 40, duration: 1 h}]}
  B: {run: {shortest: 9 d, longest: 14 d}, heat: {peak: 2 K, peak_sd: 0.4 K},
      core_limits: [{core: 32, duration: 4 d}, {core: 36, duration: 1 d}]}
  HX-5: {parents: [A, B], least_excess: 1 K}
"""
    hybrid = load(tmp_path, ROOM + REST, strains).strains.lookup("HX-5")
    assert hybrid.known
    assert hybrid.least_excess_k == 1.0
    assert hybrid.hold_s == Strain().hold_s
    assert hybrid.run_days == (9.0, 20.0)
    assert hybrid.prior.peak_k == 1.5
    # law of total variance: (0.09 + 0.16) / 2 within, 0.25 between
    assert hybrid.prior.peak_k_sd == pytest.approx(math.sqrt(0.375))
    assert hybrid.core_limits == (
        CoreLimit(32.0, 4 * 86400.0),
        CoreLimit(36.0, 86400.0),
        CoreLimit(40.0, 3600.0),
    )


def test_every_strain_of_the_sample_has_falling_limits_and_a_sound_run() -> None:
    book = load_strains(CONFIG)
    assert set(book.strains) == {"GO-12", "AM-3", "SH-7", "PI-2", "HX-5"}
    for strain in book.strains.values():
        limits = strain.core_limits
        assert list(limits) == sorted(limits, key=lambda limit: limit.core_c)
        assert list(limits) == sorted(limits, key=lambda limit: -limit.duration_s)
        assert 0 < strain.run_days[0] <= strain.run_days[1]


def test_replay_reads_no_secret_and_asks_for_no_folder(tmp_path: Path) -> None:
    text = ROOM.replace("folder: .", "folder: nowhere")
    text += "recipients: [{name: o, urls: [{env: NOT_SET}, {file: gone}]}]\nstore: {path: x}\n"
    (tmp_path / "monitor.yaml").write_text(text, encoding="utf-8")
    loaded = load_settings(tmp_path, {}, outside=False)
    assert [url.reveal() for url in loaded.recipients[0].urls] == ["", ""]
    with pytest.raises(SettingsError):
        load_settings(tmp_path, {})


def test_strains_alone_load_without_a_monitor_file(tmp_path: Path) -> None:
    assert load_strains(tmp_path).strains == {}
    (tmp_path / "strains.yaml").write_text("strains: {A: {hold: 3 h}}\n", encoding="utf-8")
    assert load_strains(tmp_path).lookup("A").hold_s == 10800.0
    (tmp_path / "strains.yaml").write_text("strains: {A: {hld: 3 h}}\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="1 problem;"):
        load_strains(tmp_path)


def test_settings_built_in_python_take_si_numbers_under_their_full_names() -> None:
    recipient = RecipientSettings(
        name="owner",
        urls=(Secret("json://127.0.0.1"),),
        least_urgency=Urgency.NOW,
        kinds=(AlarmKind.ROOM,),
        morning_minute=400,
    )
    assert recipient.morning_minute == 400
    with pytest.raises(ValueError, match="no URL"):
        RecipientSettings(name="owner", urls=(Secret("hunter2"),))


_WORDS = st.sampled_from(
    [*"{}[]:#,-&*!|>'\"% \n\t@`?", "  ", ": ", "- ", "room", "sources", "topics", "12:30", "no",
     "1e3", ".nan", "recipients", "urls", "store", "probes", "channels: none\n", "kind: mqtt\n",
     "\\U00", "0x1", "1_0", "---", "...", "%YAML 1.9", "\x85", "\u2028", "é", "\x00"]
)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(
    monitor=st.one_of(st.lists(_WORDS, max_size=40).map("".join), st.text(max_size=60)),
    strains=st.one_of(st.lists(_WORDS, max_size=20).map("".join), st.binary(max_size=40)),
)
def test_any_text_loads_or_is_refused_with_places(
    tmp_path_factory: pytest.TempPathFactory, monitor: str, strains: str | bytes
) -> None:
    folder = tmp_path_factory.getbasetemp()
    raw = strains if isinstance(strains, bytes) else strains.encode()
    (folder / "monitor.yaml").write_bytes(monitor.encode())
    (folder / "strains.yaml").write_bytes(raw)
    with pytest.raises(SettingsError) as caught:  # no such text names a room and a store
        load_settings(folder, {})
    assert caught.value.problems
    for problem in caught.value.problems:
        assert problem.startswith(str(folder))
        assert problem.isprintable(), problem


_LEAVES = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8),
    st.sampled_from(["24 C", "3 F", "30 min", "json", "mqtt", "a/{probe}", "22:00"]),
)  # fmt: skip
_KEYS = st.sampled_from(
    ["room", "sources", "kind", "name", "topics", "payload", "fields", "probes", "offset", "urls",
     "recipients", "quiet", "store", "strains", "group", "parents", "groups", "heat", "core_limits",
     "defaults", "band", "channels", "tls", "line", "password", "env", "file"]
)  # fmt: skip
_TREES = st.recursive(
    _LEAVES,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_KEYS, inner, max_size=4)),
    max_leaves=20,
)


@settings(max_examples=150, deadline=None)
@example(tree={"room": None, "recipients": [{"name": {}}], "night": {"to": [{}]}})
@given(tree=st.dictionaries(_KEYS, _TREES, min_size=1, max_size=6))
def test_any_tree_of_known_keys_is_refused_without_a_crash(
    tmp_path_factory: pytest.TempPathFactory, tree: dict[str, object]
) -> None:
    import yaml

    folder = tmp_path_factory.getbasetemp()
    text = yaml.safe_dump(tree, allow_unicode=True)
    for file in ("monitor.yaml", "strains.yaml"):
        (folder / file).write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:  # no room of these has a sound time zone
        load_settings(folder, {})
    for problem in caught.value.problems:
        assert ".yaml:" in problem


def test_secret_is_never_shown_by_print_dump_or_pickle() -> None:
    secret = Secret("hunter2", "env:X")
    recipient = RecipientSettings(name="o", urls=(Secret("json://u:hunter2@h"),))
    shown = (
        f"{secret} {secret!r} {recipient} {recipient!r} {recipient.model_dump()} "
        f"{recipient.model_dump_json()} {secret:s}"
    )
    assert "hunter2" not in shown
    assert "***" in shown
    with pytest.raises(TypeError):
        pickle.dumps(secret)


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("", ""),
        ("page: {port: 8500}\n", ""),
        ("page: {}\nbook: {page_url: 'https://barn.example/r1/'}\n", "https://barn.example/r1"),
        ("book: {page_url: 'https://barn.example/r1/'}\n", ""),
        ("page: {listen: 10.0.0.7, PEOPLE}\n", "http://10.0.0.7:8423/"),
        ("page: {listen: '::', PEOPLE}\n", ""),
        ("page: {listen: 0.0.0.0, hosts: [pi.example], PEOPLE}\n", "http://pi.example:8423/"),
        ("page: {listen: 'fe80::7', PEOPLE}\n", "http://[fe80::7]:8423/"),
    ],
)
def test_where_others_open_the_page_is_told_only_where_they_can(
    tmp_path: Path, text: str, address: str
) -> None:
    people = "people: [{name: owner, link: {env: OWNER}}]"
    made = load(tmp_path, ROOM + REST + text.replace("PEOPLE", people), OWNER=f"link:{'0' * 64}")
    assert made.page_for_others == address


@pytest.mark.parametrize("url", ["barn.example", "http://", "http://a b", 'http://a/"x'])
def test_an_address_of_the_page_that_is_none_is_refused(tmp_path: Path, url: str) -> None:
    with pytest.raises(SettingsError) as error:
        load(tmp_path, ROOM + REST + f"book: {{page_url: '{url}'}}\n")
    assert "page_url" in error.value.problems[0]
