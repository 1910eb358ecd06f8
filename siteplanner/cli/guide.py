"""`siteplanner guide`: the pages that travel with the program, as text."""

from __future__ import annotations

from typing import Annotated

import typer

from siteplanner.cli.screen import stdout


def show_guide(
    page_name: Annotated[str | None, typer.Argument(metavar="[PAGE]", help="Which page; none lists them.")] = None,
) -> None:
    """Read the guide: how to start, where layers come from, rules, methods with sources, how to read the sheets."""
    from siteplanner.guide import PAGES, page, without_links

    if page_name is None:
        for name, title in PAGES.items():
            print(f"{name:<10} {title}")
        print("\nsiteplanner guide PAGE shows one; siteplanner app has them too.")
        return
    text = without_links(page(page_name))
    if stdout.is_terminal:
        from rich.markdown import Markdown

        stdout.print(Markdown(text))
    else:
        print(text)
