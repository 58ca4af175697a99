"""Files are written whole or not at all."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from jobnotes.errors import JobnotesError

REASONS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EACCES: "writing there is not allowed",
    errno.EPERM: "writing there is not allowed",
    errno.EROFS: "the disk can only be read",
    errno.ENOENT: "its folder does not exist",
    errno.ENOTDIR: "its folder is not a folder",
    errno.EISDIR: "it is a folder",
    errno.ENAMETOOLONG: "its name is too long",
}


def reason(error: OSError) -> str:
    """Why the operating system refused, in plain words."""
    return REASONS.get(error.errno or 0, (error.strerror or str(error)).lower())


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """Turns the system's refusal to read `path` within the block into a JobnotesError of one sentence."""
    try:
        yield
    except FileNotFoundError:
        raise JobnotesError(f"There is no file {path}.") from None
    except PermissionError:
        raise JobnotesError(f"{path} may not be read: permission is denied.") from None
    except OSError as error:
        raise JobnotesError(f"{path} can't be read: {reason(error)}.") from error


def make_folder(folder: Path) -> None:
    """Makes the folder where it is missing. Raises JobnotesError where it can't be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise JobnotesError(f"The folder {folder} can't be made: {reason(error)}.") from error


@contextmanager
def replacing(path: Path, *, private: bool = False) -> Iterator[BinaryIO]:
    """A stream whose content takes the place of `path` when the block ends: the file is then whole and
    new, or, if the block or the writing fails, as it was before.

    It goes to a temporary file in the same folder, is flushed to the disk and then renamed over `path`,
    which POSIX makes atomic. The temporary file is removed on any failure, Ctrl-C too. `private`: only
    its owner may read it. Raises JobnotesError when the disk is full, the folder is missing or may not be
    written to.
    """
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:60]}.", suffix=".part", dir=path.parent)
        temporary = Path(name)
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        if not private:
            # mkstemp makes the file private to its owner; a sheet or transcript gets the rights of any other
            # new file.
            temporary.chmod(0o666 & ~_umask())
        temporary.replace(path)
        temporary = None
    except OSError as error:
        raise JobnotesError(f"{path} could not be written: {reason(error)}.") from error
    finally:
        if temporary is not None:
            with suppress(OSError):
                temporary.unlink()


def write_atomically(path: Path, content: bytes | str) -> None:
    """Write `content` (text as UTF-8) to `path`: afterwards the file is whole and new, or as it was before.
    Raises JobnotesError as `replacing` does."""
    data = content.encode("utf-8") if isinstance(content, str) else content
    with replacing(Path(path)) as stream:
        stream.write(data)


def _umask() -> int:
    # The mask can only be read by setting it; it is set straight back.
    mask = os.umask(0)
    os.umask(mask)
    return mask
