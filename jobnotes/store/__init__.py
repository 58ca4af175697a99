"""The workshop's store: memos, drafts with every correction, the chain of signed sheets. Nothing is lost."""

from jobnotes.store.backing_up import backup, restore
from jobnotes.store.canonical import canonical, sha256
from jobnotes.store.errors import (
    ConflictError,
    InvalidEditError,
    MissingError,
    NotAllowedError,
    NotReadyError,
    TooManyTriesError,
    WrongPasswordError,
)
from jobnotes.store.finding import Found
from jobnotes.store.folder import Folder, default_folder
from jobnotes.store.forgetting import forget, forget_older
from jobnotes.store.operations import (
    AddItem,
    AddJob,
    Confirm,
    JoinJobs,
    MoveItem,
    Operation,
    Redo,
    RemoveItem,
    RemoveJob,
    SetValue,
    SplitJob,
    Undo,
    operation_of,
)
from jobnotes.store.registers import Load, RowChange
from jobnotes.store.rights import TERMINAL
from jobnotes.store.signing import MakePdf, Signed
from jobnotes.store.values import (
    AuditLine,
    Comment,
    Correction,
    Draft,
    DraftLine,
    LearnedWord,
    Memo,
    Person,
    Problem,
    Proposal,
    Role,
    SignedSheet,
    Taken,
)
from jobnotes.store.verifying import CheckPdf, Fault, head, verify
from jobnotes.store.workshop import Workshop

__all__ = [
    "TERMINAL",
    "AddItem",
    "AddJob",
    "AuditLine",
    "CheckPdf",
    "Comment",
    "Confirm",
    "ConflictError",
    "Correction",
    "Draft",
    "DraftLine",
    "Fault",
    "Folder",
    "Found",
    "InvalidEditError",
    "JoinJobs",
    "LearnedWord",
    "Load",
    "MakePdf",
    "Memo",
    "MissingError",
    "MoveItem",
    "NotAllowedError",
    "NotReadyError",
    "Operation",
    "Person",
    "Problem",
    "Proposal",
    "Redo",
    "RemoveItem",
    "RemoveJob",
    "Role",
    "RowChange",
    "SetValue",
    "Signed",
    "SignedSheet",
    "SplitJob",
    "Taken",
    "TooManyTriesError",
    "Undo",
    "Workshop",
    "WrongPasswordError",
    "backup",
    "canonical",
    "default_folder",
    "forget",
    "forget_older",
    "head",
    "operation_of",
    "restore",
    "sha256",
    "verify",
]
