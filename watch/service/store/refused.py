"""What the store refuses with: one sentence for the sailor. Imported only when there is something to refuse, for it starts slowly."""

from watch.faults import BadInputError


class NotKeptError(BadInputError):
    """Something could not be kept (a full disk, a disk that can only be read): it is not in the store, all from before still is.

    >>> print(NotKeptError("watch.db", ["the disk is full; make room"]))
    watch.db: the disk is full; make room
    """
