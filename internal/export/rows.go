package export

import (
	"encoding/csv"
	"fmt"
	"io"
)

// WriteRows writes rows that are not records as WriteCSV writes tables: RFC 4180 with a header, rows ended by CR LF, UTF-8, each cell as GuardCell has it.
// The error is the writer's.
func WriteRows(w io.Writer, columns []string, rows [][]string) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(columns); err != nil {
		return fmt.Errorf("write rows: %w", err)
	}
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, text := range row {
			cells[i] = GuardCell(text)
		}
		if err := out.Write(cells); err != nil {
			return fmt.Errorf("write rows: %w", err)
		}
	}
	out.Flush()
	return out.Error()
}
