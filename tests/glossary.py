"""The words that readers do not meet again, each with what is said instead: one thing, one name, one English."""

from __future__ import annotations

import re
from collections.abc import Iterable

OLD: tuple[tuple[str, str], ...] = (
    # misread
    (r"less likely than not", "no service expected at X, service unlikely at X"),
    (r"\bno (?:height|figures?) posted\b|\bnot posted\b", "limits not in the data"),
    (r"\d (?:km|mi) on(?=[.,;)]|$)", "at 10.1 km"),
    (r"\bWatch out\b|\bWatch:|\bTake care\.", "a signal word"),
    (r"\bCaution[.:]|\bCAUTION:|(?<!\w)!! ", "a signal word"),
    (r"\bunposted\b", "limits not in the data"),
    # second names
    (r"\bnose\b", "tongue"),
    (r"\btonnes?\b", "metric tons"),
    (r"\bslots?\b(?! (?:of|in) )", "satellite at 113° W, or the satellite's name"),
    (r"\bfull marks\b", "earned"),
    (r"\bwould take place\b|\bfirst place\b(?! (?:stays|has))", "rank 1"),
    (r"\bearth rods?\b", "ground rod"),
    (r"\bset-up crew sheet\b", "crew sheet"),
    # odd to a native reader
    (r"\bworked out\b", "calculated"),
    (r"\btaken over\b|\btaken for\b", "reused, used as"),
    (r"\bgive or take\b", "±"),
    (r"\basked of\b", "tested"),
    (r"\b[Mm]end(?:ed|s)?\b", "correct, repair"),
    (r"\b(?:layer|file|archive|extract|raster|TIFF) holds\b", "has, contains"),
    (r"\bwanted backhauls?\b", "requested backhaul"),
    (
        r"nothing to object to|comes within [^.]* of a reached road|carries its reason",
        "no problems found, the nearest gap is",
    ),
    (r"if it stays, send|whoever looks after", "if it fails again, your administrator"),
    (r"\bpower lines?\b", "overhead line"),
    (r"\bset-up crew\b(?! \()", "crew"),
    (r"\bhas no row\b|\bNo raster is given\b|format that is read\b", "is empty, No raster given, Unsupported"),
    (r"\bspeeds wind up\b|\bFind the satellite\b|\bRelief only\b|\bCompiling once\b", "see the table of words"),
    (r"\bnearest to pass\b|\balone %|\bFirst now:|\bwould have to allow\b", "smallest change, only this, rank 1 now"),
    (r"(?:\bUtility\b|\balike strong\b|\bleaves that out\b)", "earned, equally strong, does not include"),
    (r"\bscore alike\b|\band said so\b|\blayers\.exits can\b", "differ by less than the doubt, says so, no parameter"),
    (r"\bon air on average\b|\bmust-serve points have\b", "average time to on air, named points have"),
    (r"\b(?:is|are) told (?!by\b)|\btold as\b|\bnever told\b", "reported, shown"),
    (r"\bsigns? (?:on the road )?goe?s? before\b|\b(?:sheet|manual|own) goes before it\b", "overrides"),
    (r"\bWhoever uses\b|\bBring elevation\b|\bcompiles once\b", "anyone using, add elevation, takes longer"),
    (r"\bfolder (?:that )?holds?\b|\bthese files hold\b|\bthe map lacks\b", "has, is missing from"),
    (r"\bNot at the runner-up\b|\bafter a mile\b", "at the runner-up, the distance in the reader's units"),
    # English of the US
    (r"\b(?:kilo|centi|milli)?metres?\b", "meter"),
    (r"\blitres?\b", "liter"),
    (r"\b\w*colour\w*", "color"),
    (r"\bgrey\b", "gray"),
    (r"\bcentres?\b|\bcentred\b", "center"),
    (r"\bneighbour\w*", "neighbor"),
    (r"\blicence\b", "license"),
    (r"\b\w*(?:energis|organis|recognis|optimis|polaris|minimis|maximis|normalis)\w*", "-ize"),
    (r"\brefuell\w+|\blevell\w+|\bcancelled\b|\blabelled\b|\btravell\w+|\bsignalling\b", "one l"),
    (r"\btyres?\b|\bkerbs?\b|\btowards\b|\bjudgement\b|\bbehaviour\b|\bdefence\b|\bprogramme\b", "US spelling"),
)
PATTERNS = tuple((re.compile(pattern, re.IGNORECASE if pattern[0] != "(" else 0), new) for pattern, new in OLD)


def old_words(text: str) -> list[str]:
    """`old word -> new word` for each that the text holds."""
    return [f"{m.group(0)!r} -> {new}" for pattern, new in PATTERNS for m in pattern.finditer(text)]


def told(source: str, texts: Iterable[str]) -> list[str]:
    """`source: old word -> new word, in: ...` for each text with an old word."""
    return [f"{source}: {old}, in: {text[:120]}" for text in texts for old in old_words(text)]
