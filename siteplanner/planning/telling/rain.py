"""Rain on the satellite link, in words."""

from __future__ import annotations

from siteplanner.planning.site.rain import LEAST_ELEVATION_DEG, Rain, RainLink

HOURS_A_YEAR = 8766.0
ABSENT = "Rain on the satellite link is not calculated: install the extra `rain` (pip install siteplanner[rain])."


def rain_note(made: Rain) -> str:
    """What is left out, and why; '' for nothing."""
    if made.absent:
        return ABSENT
    if not made.too_low:
        return ""
    return f"Too low for the method (below {LEAST_ELEVATION_DEG:g} deg): {', '.join(made.too_low)}."


def margin_sentence(made: Rain | None, satellite_name: str, clear_sky_db: float) -> str:
    """Link margin of the downlink in clear sky and in rain, beside each other; not known where nothing was worked out.

    In rain: the margin less what rain and cloud take from the signal to noise, exceeded for 1 % and for 0.1 % of an
    average year; the uplink where it is the first to go.
    """
    link = next((k for k in made.links if k.satellite_name == satellite_name), None) if made is not None else None
    clear = f"Link margin toward {satellite_name}: {clear_sky_db:g} dB in clear sky"
    if made is None or link is None:
        return f"{clear}, in rain not known."
    margin, losses = clear_sky_db, (link.downlink_loss_1_pct_db, link.downlink_loss_01_pct_db)
    way = ""
    if link.decides == "uplink":
        margin, losses = made.uplink_margin_db, (link.uplink_loss_1_pct_db, link.uplink_loss_01_pct_db)
        way = f" (of the uplink, {margin:g} dB in clear sky)"
    often, rare = (round(margin - loss, 1) + 0.0 for loss in losses)  # + 0.0: no minus before a nought
    lost = " (below 0 the link is lost)" if min(often, rare) < 0 else ""
    return (
        f"{clear}; in the wettest 88 hours of a year {often:.1f} dB or less{way}, in the wettest 9 hours {rare:.1f} dB "
        f"or less{lost}."
    )


def rain_sentence(made: Rain, link: RainLink) -> str:
    """`Rain toward Relay one: the link holds for 99.5 % of an average year (all but 46 hours); the downlink, ...`"""
    lost_h = (100 - link.available_pct) / 100 * HOURS_A_YEAR
    margins = f"with {made.margin_db:g} dB of margin"
    if made.uplink_margin_db != made.margin_db:
        margins = f"with {made.margin_db:g} dB of margin down and {made.uplink_margin_db:g} dB up"
    why = (
        f"the downlink goes first, rain adds to a receiver of {made.system_temperature_k:g} K"
        if link.decides == "downlink"
        else f"the uplink at {made.uplink_ghz:g} GHz goes first"
    )
    return (
        f"Rain toward {link.satellite_name}: {margins} over clear sky the link holds for {link.available_pct:.2f} % of "
        f"an average year (all but {lost_h:.1f} hours); {why}. It costs the downlink "
        f"{link.downlink_loss_1_pct_db:.1f} dB in 88 hours, {link.downlink_loss_01_pct_db:.1f} dB in 9 hours, the "
        f"uplink {link.uplink_loss_1_pct_db:.1f} and {link.uplink_loss_01_pct_db:.1f} dB (ITU-R P.618)."
    )
