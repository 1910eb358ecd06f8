"""Guide: the pages that travel with the program, one at a time. Markdown is drawn without any markup of its own."""

from __future__ import annotations

import streamlit as st

from siteplanner.guide import PAGES, page, without_links


def draw() -> None:
    """A list of pages, and the one chosen; nothing in it leads off this machine."""
    names = list(PAGES)
    name = st.selectbox("Page of the guide", names, format_func=lambda n: PAGES[n], key="guide_page")
    st.markdown(without_links(page(name)))
