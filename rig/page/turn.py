"""Whose turn it is: of several phones one acts, the others watch, and any can take over."""

ABSENT_S = 20.0


class Turn:
    """Knows phones by the names that they gave themselves; time comes in with each call."""

    def __init__(self) -> None:
        self._holder: str | None = None
        self._left_s: float | None = None
        self._here: dict[str, int] = {}

    @property
    def phones(self) -> int:
        """How many there are."""
        return len(self._here)

    def come(self, phone: str, now_s: float) -> None:
        """Let a phone in; the first acts, and one that comes back soon acts again."""
        self._here[phone] = self._here.get(phone, 0) + 1
        if phone == self._holder:
            self._left_s = None
        elif self._is_free(now_s):
            self.take(phone)

    def go(self, phone: str, now_s: float) -> None:
        """Note that a phone has gone; its turn is kept for a while."""
        self._here[phone] -= 1
        if not self._here[phone]:
            del self._here[phone]
            if phone == self._holder:
                self._left_s = now_s

    def take(self, phone: str) -> None:
        """Give a phone the turn, whoever had it."""
        self._holder, self._left_s = phone, None

    def acts(self, phone: str, now_s: float) -> bool:
        """Tell whether a phone may act; a turn that nobody has had for a while goes to it."""
        if phone != self._holder and self._is_free(now_s) and phone in self._here:
            self.take(phone)
        return phone == self._holder

    def _is_free(self, now_s: float) -> bool:
        if self._holder is None:
            return True
        return self._left_s is not None and now_s - self._left_s > ABSENT_S
