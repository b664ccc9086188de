"""The report as one JSON document: the story's document, and under 'report' what the pages add to it."""

from __future__ import annotations

from dataclasses import asdict
from datetime import tzinfo
from typing import Any

from netwatch.report.brief import Job, in_short
from netwatch.report.masked import masked
from netwatch.report.rental import devices, unheard
from netwatch.report.times import Times
from netwatch.story.course import CourseView
from netwatch.story.document import document, seconds
from netwatch.story.evening import Evening


def data(evening: Evening, job: Job, zone: tzinfo | None = None) -> dict[str, Any]:
    """Plain values that ``json.dumps`` takes; people's own devices without their names, unless ``job.names``."""
    evening = evening if job.names else masked(evening)
    times = Times(evening.snapshot.first, zone)
    made = document(evening.snapshot, evening.files)
    made["report"] = {
        "job": job.job, "by": job.by, "socket": job.socket, "program": job.program,
        "in_short": in_short(evening.snapshot, times), "devices": [asdict(each) for each in devices(evening, times)],
        "not_heard": unheard(evening),
        "course": None if evening.course is None else _course(evening.course),
    }  # fmt: skip
    return made


def _course(course: CourseView) -> dict[str, Any]:
    """Packets and losses of each stream, step by step."""
    runs = [asdict(run) | {"packets": list(run.packets), "lost": list(run.lost)} for run in course.runs]
    return {"first": seconds(course.first), "step": seconds(course.step), "streams": runs, "left_out": course.left_out}
