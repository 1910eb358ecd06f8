"""The printable sheets, their maps and figures."""
