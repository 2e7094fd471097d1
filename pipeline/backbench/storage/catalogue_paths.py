"""Where the parts of a catalogue are, and the right to change them."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.kinds import use_own_kinds
from backbench.documents.validation import parse_toml, read_bytes
from backbench.errors import Fault, UserError
from backbench.metrics.in_force import use_own_metrics
from backbench.storage.atomic_io import ASIDE, PART
from backbench.storage.database import DATABASE_NAME, IN_USE, MAKING
from backbench.storage.lock import Held, turn
from backbench.storage.vault import Ledger, Vault

if TYPE_CHECKING:
    from backbench.documents.settings import Settings

PATIENCE_S = 10.0
OWN_DECLARATIONS = {"kind", "quantity"}
"""Tables of the settings that declare what the rest of the program must know of."""
REBUILDING = ".rebuild-"
HALF_WRITTEN = (
    f"{REBUILDING}*", f"{MAKING}*", f"{ASIDE}*",
    f"vault/{ASIDE}*", f"vault/??/{ASIDE}*", f"ledger/{ASIDE}*", f"ledger/settings/{ASIDE}*",
    f".staged/*/*{PART}", f"{DATABASE_NAME}.tmp",
)  # fmt: skip
"""What a run that broke off may leave. Whole staged chunks are none of it: they are used."""


@dataclass(frozen=True)
class CataloguePaths:
    """A catalogue's folder; `database` is where its database is, elsewhere during a rebuild."""

    root: Path
    database: Path

    @property
    def vault(self) -> Vault:
        return Vault(self.root / "vault")

    @property
    def ledger(self) -> Ledger:
        return Ledger(self.root / "ledger")

    @property
    def staged(self) -> Path:
        return self.root / ".staged"

    @property
    def runs(self) -> Path:
        """Home of the run history."""
        return self.root / ".runs"

    @property
    def settings(self) -> Settings:
        # What only looks has no use for these.
        from backbench.documents.settings import read_settings
        from backbench.metrics.own_quantities import use_own_quantities

        settings = read_settings(self.root)
        use_own_kinds(settings.own_kinds())
        use_own_quantities(settings)
        return settings

    def bring_into_force(self) -> None:
        """Have the program know what the settings declare, and nothing of another catalogue.

        Faulty settings declare nothing; whoever needs them meets the fault.
        """
        use_own_kinds([])
        use_own_metrics([])
        try:
            content = parse_toml(read_bytes(self.root / SETTINGS_NAME, "settings"), SETTINGS_NAME)
            if content.keys() & OWN_DECLARATIONS:
                _ = self.settings
        except UserError:
            pass

    def prepare_reading(self) -> None:
        """Bring the settings into force before the database is read.

        Raises UserError where they are faulty and there is no database: that is mended first.
        """
        self.bring_into_force()
        if (self.root / SETTINGS_NAME).exists() and not (self.database / DATABASE_NAME).exists():
            _ = self.settings

    @contextmanager
    def changing(self, patience_s: float = PATIENCE_S) -> Iterator[None]:
        """At most one process changes a catalogue.

        Raises UserError that says which does, after waiting for so long.
        """
        holder = self.root / ".lock.pid"
        with ExitStack() as held:
            try:
                held.enter_context(turn(self.root / ".lock", patience_s))
            except Held:
                who = holder.read_text() if holder.exists() else "unknown"
                fault = Fault(
                    str(self.root), f"process {who} changing it", "a free catalogue",
                    "try again when it has ended",
                )  # fmt: skip
                raise UserError(IN_USE, [fault]) from None
            holder.write_text(str(os.getpid()))
            self._sweep()
            yield

    def _sweep(self) -> None:
        """Clear away what an earlier run left half-written; nobody else is writing now."""
        for left in [path for pattern in HALF_WRITTEN for path in self.root.glob(pattern)]:
            if left.is_dir() and not left.is_symlink():
                shutil.rmtree(left, ignore_errors=True)
            else:
                left.unlink(missing_ok=True)


def places(root: Path) -> CataloguePaths:
    """The places of a catalogue's folder."""
    return CataloguePaths(root, root)
