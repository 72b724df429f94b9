"""What a stop of the story looks like as the visit document that a phone sends."""

from datetime import timedelta
from typing import Any

from routeapp.data.demo.cast import Cast
from routeapp.data.demo.events import Stop, Work
from routeapp.visits.rules_document import Document, read


def document(stop: Stop, cast: Cast) -> Document:
    arrived = cast.moment(stop.at)
    paper: dict[str, Any] = {
        "id": stop.id,
        "location": cast.locations[stop.site].pk,
        "arrived_at": arrived,
        "departed_at": arrived + timedelta(minutes=stop.minutes),
        "load_from": cast.vans[stop.person].pk,
        "entries": [_entry(work, stop, cast) for work in stop.works],
        "replaces": stop.replaces,
        "void": stop.void,
        "reason": stop.reason,
        "note": stop.note,
    }
    if stop.works and not stop.sealed:
        paper["loose_bag"] = _bag(stop)
    if stop.paid:
        paper["host_payment"] = {"cents": stop.paid, "received_by": stop.received_by}
    return read(paper)


def _bag(stop: Stop) -> dict[str, Any]:
    return {"id": stop.bag, "number": stop.bag_number}


def _entry(work: Work, stop: Stop, cast: Cast) -> dict[str, Any]:
    return {
        "id": work.id,
        "machine": cast.machines[work.cabinet].pk,
        "readings": [
            {"meter": cast.meters[work.cabinet, counts].pk, "value": value, "explained_as": work.explained_as}
            for counts, value in work.readings.items()
        ],
        "tests_before": work.tests_before,
        "tests_after": work.tests_after,
        "cash": _cash(work, stop),
        "found": _prizes(work.found, cast),
        "found_estimated": work.estimated,
        "loaded": _prizes(work.loaded, cast),
        "mixes": [{"mix": cast.mixes[name].pk, "times": times} for name, times in work.mixes.items()],
        "settings": work.settings or None,
        "checks": work.checks,
        "faults": [{"id": one.id, "text": one.text, "stops_play": one.stops_play} for one in work.faults],
        "fixed": [{"fault": fault, "how": how} for fault, how in work.fixed.items()],
        "photos": [work.photo] if work.photo else [],
        "note": work.note,
    }


def _cash(work: Work, stop: Stop) -> dict[str, Any]:
    if work.cash == "sealed":
        return {"taken": "sealed", "bag": _bag(stop), "estimate_cents": work.estimate}
    if work.cash == "counted":
        lines = {} if work.how == "amount" else +work.lines
        return {"taken": "counted", "how": work.how, "cents": work.cents, "lines": lines}
    return {"taken": "not_taken"}


def _prizes(pieces: dict[str, int], cast: Cast) -> list[dict[str, int]]:
    return [{"prize": cast.prizes[name].pk, "pieces": many} for name, many in pieces.items()]
