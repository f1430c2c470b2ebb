"""What the page refuses, and when it stops waiting."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PageLimits:
    """Every cap of the page. Chosen; each reason beside its attribute.

    Attributes
    ----------
    photo_bytes : int
        Largest photo. The page shrinks photos to about half a megabyte; where a browser
        cannot, a 12-megapixel JPEG still fits.
    photo_pixels : int
        Largest width times height: what phones record without combining pictures.
    photos : int
        Photos of one engine: both sides, both ends, top, and two close-ups.
    request_bytes : int
        Largest request. With `places` it bounds the memory that uploads can take.
    fields : int
        Statements of a person in one request; a guide has fewer checks.
    upload_s : float
        Longest upload, seconds: a full request at 8 megabit a second.
    header_s : float
        Longest wait for the head of a request, seconds.
    answer_s : float
        Longest wait for an answer, seconds, its turn included.
    places : int
        Requests being uploaded, waiting or read at the same time; past that the answer
        is "busy".
    retry_s : float
        How long a phone that was turned away waits before it tries again, seconds.
    places_each : int
        Of those, how many one phone may hold, so that one cannot crowd out the others.
    connections : int
        Open connections, idle ones included: browsers keep up to six each.
    sessions : int
        Browsers that are remembered; the one longest unused goes first.
    looks : int
        Photos whose reading (numbers, no pixels) is remembered, so that an answer by
        button need not read them again.
    """

    photo_bytes: int = 12_000_000
    photo_pixels: int = 50_000_000
    photos: int = 8
    request_bytes: int = 30_000_000
    fields: int = 40
    upload_s: float = 30.0
    header_s: float = 10.0
    answer_s: float = 60.0
    places: int = 24
    retry_s: float = 3.0
    places_each: int = 2
    connections: int = 160
    sessions: int = 64
    looks: int = 256
