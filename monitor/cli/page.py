"""Say where the page is and who may log in; make the hash of a password or a link for a device.

Neither a password nor a link is kept anywhere: put the line that is printed into a file of its
own with mode 0600 and name that file in the settings, under page.people.
"""

from __future__ import annotations

import argparse
import getpass
import os
import sys
from pathlib import Path

from monitor.cli.arguments import no_block
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_error, say_json, table
from monitor.settings.load import load_settings
from monitor.settings.schema import PageSettings

FEWEST_SIGNS = 8


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt page`."""
    parser.add_argument("--config", type=Path, help="settings folder")
    parser.add_argument("--json", action="store_true", help="print as JSON")
    wanted = parser.add_mutually_exclusive_group()
    wanted.add_argument(
        "--password",
        action="store_true",
        help="ask for a password (or take a line of standard input) and print its hash",
    )
    wanted.add_argument(
        "--link", action="store_true", help="print a new link for one device, and its hash"
    )


def run(arguments: argparse.Namespace) -> Exit:
    """Make a hash, or say how the page is set up."""
    if arguments.password:
        return _password()
    if arguments.config is None:
        say_error("name the settings folder with --config")
        return Exit.UNUSABLE
    # the file a new link goes into is not there yet, and nothing else outside is asked for
    settings = load_settings(arguments.config, os.environ, outside=not arguments.link)
    if settings.page is None:
        raise no_block(arguments.config, "page", "no page is served", "The page")
    if arguments.link:
        return _link(settings.page)
    return _standing(settings.page, arguments.json)


def _standing(page: PageSettings, as_json: bool) -> Exit:
    from monitor.page.server import address_of  # noqa: PLC0415  # the web server comes with it

    where = address_of(page)
    if as_json:
        people = [
            {
                "name": one.name,
                "may": one.may,
                "password": one.password is not None,
                "link": one.link is not None,
            }
            for one in page.people
        ]
        say_json({"address": where, "guests": page.guests, "people": people})
        return Exit.DONE
    say(where)
    if not page.people:
        say("no login: whoever uses this machine may look and act")
        return Exit.DONE
    rows = [
        (
            one.name,
            one.may,
            " and ".join(
                word for word, has in (("password", one.password), ("link", one.link)) if has
            )
            or "nothing to log in with",
        )
        for one in page.people
    ]
    say(table(("NAME", "MAY", "LOGS IN BY"), rows))
    say("guests may look" if page.guests == "look" else "nobody else may look")
    return Exit.DONE


def _password() -> Exit:
    from monitor.page.login import LONGEST_PASSWORD, hash_password  # noqa: PLC0415

    if sys.stdin.isatty():
        password = getpass.getpass("password: ")
        if getpass.getpass("once more: ") != password:
            say_error("these two differ")
            return Exit.UNUSABLE
    else:
        password = sys.stdin.readline().rstrip("\r\n")
    if not FEWEST_SIGNS <= len(password) <= LONGEST_PASSWORD:
        say_error(f"take a password of {FEWEST_SIGNS} to {LONGEST_PASSWORD} signs")
        return Exit.UNUSABLE
    say(hash_password(password))
    return Exit.DONE


def _link(page: PageSettings) -> Exit:
    from monitor.page.login import new_link  # noqa: PLC0415
    from monitor.page.server import address_of  # noqa: PLC0415

    secret, kept = new_link()
    say(f"for the device, once:  {address_of(page)}link/{secret}")
    say(f"for its file:          {kept}")
    return Exit.DONE
