"""The decimal sign of each column of a sheet, as its cells show it or the map states it."""

from __future__ import annotations

from dataclasses import dataclass

from backbench.backfill.column_map import ColumnMap, columns_of
from backbench.backfill.spreadsheet import Cell, Sheet
from backbench.quantities.columns import MixedDecimalSigns, column_sign
from backbench.quantities.numerals import DecimalSign


@dataclass(frozen=True)
class DecimalSigns:
    """by_column: the sign, None where no cell shows one, or why the column has none."""

    by_column: dict[str, DecimalSign | MixedDecimalSigns | None]

    def of(self, column: str | None, cell: Cell) -> DecimalSign | None:
        """The sign to read a cell with: a point for a number that the sheet stores as one.

        Raises MixedDecimalSigns for a text with a comma or a point in a column that has both.
        """
        if cell.is_number:
            return "."
        sign = self.by_column.get(column or "")
        if not isinstance(sign, MixedDecimalSigns):
            return sign
        if "," in cell.text or "." in cell.text:
            raise sign
        return None


def decimal_signs(sheet: Sheet, how: ColumnMap) -> DecimalSigns:
    """The signs of every column that the map names; all as stated where the map states one."""
    names = columns_of(how)
    if how.decimal is not None:
        return DecimalSigns(dict.fromkeys(names, how.decimal))
    return DecimalSigns({name: _shown(sheet, name) for name in names})


def _shown(sheet: Sheet, column: str) -> DecimalSign | MixedDecimalSigns | None:
    cells = [row.cells[column] for row in sheet.rows if column in row.cells]
    try:
        return column_sign((cell.address, cell.text) for cell in cells if not cell.is_number)
    except MixedDecimalSigns as error:
        return error
