"""A job's name: held to what a sheet takes, and kept the same on the card and in the sheet."""

from __future__ import annotations

from firstpull.core.sheet import JobSheet
from firstpull.core.sheet_check import with_answers
from firstpull.services.jobs.sheet_read import sheet_read
from firstpull.services.write_sheet import with_fields

NAME = "job.name"


def checked_name(name: str) -> str:
    """The name, without space around it.

    Raises:
        BadSheet: it is empty, longer than 80 letters or holds control characters.

    >>> checked_name(" heron ")
    'heron'
    """
    answers = {NAME: name.strip()}
    return with_answers(JobSheet(), answers, place=lambda field: "The name of the job").job.name


def sheet_named(text: str, name: str) -> str:
    """The sheet with this name, where it gives one; a sheet that gives none stays as it is.

    Raises:
        BadSheet: the sheet is no good, or cannot be edited.
    """
    read = sheet_read(text)
    if NAME not in read.given or read.sheet.job.name == name:
        return text
    return with_fields(text, {NAME: name})
