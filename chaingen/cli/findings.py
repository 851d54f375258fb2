"""The command `findings`."""

import json

import click

from chaingen.cli.app import JSON, QUIET, print_list, say


@click.command()
@click.argument("kind", required=False)
@JSON
@QUIET
def findings(kind: str | None, as_json: bool, quiet: bool) -> None:
    """List the kinds of findings that a design can have, or show the keys of one KIND."""
    from chaingen.show.finding_snippet import design_of
    from chaingen.show.finding_words import (
        KEYS_HEAD,
        LIST_HEAD,
        find_kind,
        key_rows,
        kind_data,
        kind_lines,
        list_rows,
    )

    if kind is None:
        rows = list_rows()
        if as_json:
            say(json.dumps([{"kind": name, "about": about} for name, about in rows], indent=2))
        elif not quiet:
            print_list(list(LIST_HEAD), rows)
            say('chaingen findings "KIND" shows the keys of one; chaingen new --piece starts with some.')
        return
    found = find_kind(kind)
    if as_json:
        say(json.dumps(kind_data(found), indent=2, ensure_ascii=False))
        return
    if quiet:
        return
    for line in kind_lines(found):
        say(line)
    print_list(list(KEYS_HEAD), key_rows(found))
    say("In a design:")
    for line in design_of(found).splitlines():
        say(f"  {line}".rstrip())
