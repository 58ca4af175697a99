"""The model that all other rooms speak: transcript, job, evidence, and the checks of what is plausible."""

from jobnotes.jobs.model import (
    MACHINE_TYPES,
    Amount,
    Check,
    Evidence,
    Job,
    Machine,
    Part,
    Reading,
    ReadMemo,
    Times,
    Transcript,
    Word,
    jobs_schema,
)

__all__ = [
    "MACHINE_TYPES",
    "Amount",
    "Check",
    "Evidence",
    "Job",
    "Machine",
    "Part",
    "ReadMemo",
    "Reading",
    "Times",
    "Transcript",
    "Word",
    "jobs_schema",
]
