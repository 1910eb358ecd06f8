"""Rain on the satellite link, in words."""

from __future__ import annotations

from siteplanner.planning.site.rain import LEAST_ELEVATION_DEG, Rain, RainLink

ABSENT = "Rain on the satellite link is not worked out: install the extra `rain` (pip install siteplanner[rain])."


def rain_note(made: Rain) -> str:
    """What is left out, and why; '' for nothing."""
    if made.absent:
        return ABSENT
    if not made.too_low:
        return ""
    return f"Too low for the method (below {LEAST_ELEVATION_DEG:g} deg): {', '.join(made.too_low)}."


def margin_sentence(made: Rain | None, satellite_name: str, clear_sky_db: float) -> str:
    """Link margin in clear sky and in rain, beside each other; not known where the rain was not worked out.

    In rain: the margin less the attenuation exceeded for 1 % and for 0.1 % of an average year. Gas and cloud are part
    of that; the noise that warm rain adds to the receiver is not.
    """
    link = next((k for k in made.links if k.satellite_name == satellite_name), None) if made is not None else None
    clear = f"Link margin toward {satellite_name}: {clear_sky_db:g} dB in clear sky"
    if link is None:
        return f"{clear}, in rain not known."
    often, rare = (
        round(clear_sky_db - a, 1) + 0.0 for a in (link.attenuation_1_pct_db, link.attenuation_01_pct_db)
    )  # + 0.0: no minus before a nought
    lost = " (below 0 the link is lost)" if min(often, rare) < 0 else ""
    return (
        f"{clear}; in the wettest 88 hours of a year {often:.1f} dB or less, in the wettest 9 hours {rare:.1f} dB or "
        f"less{lost}."
    )


def rain_sentence(link: RainLink, margin_db: float) -> str:
    """`Rain toward slot 113 W: 3 dB of margin hold 99.99 % of the year; 0.9 dB are exceeded 88 hours a year, ...`"""
    lost_h = (100 - link.available_pct) / 100 * 8766
    return (
        f"Rain toward {link.satellite_name}: {margin_db:g} dB of margin hold {link.available_pct:.2f} % of an average "
        f"year (all but {lost_h:.1f} hours); {link.attenuation_1_pct_db:.1f} dB are exceeded in 88 hours, "
        f"{link.attenuation_01_pct_db:.1f} dB in 9 hours (ITU-R P.618)."
    )
