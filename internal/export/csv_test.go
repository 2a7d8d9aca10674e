package export_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"unicode"

	"pgregory.net/rapid"

	"needlebook/internal/export"
)

func mustCSV(t testing.TB, x *export.Export, table export.Table) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := x.WriteCSV(&out, table, export.CSVOptions{}); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// nasty draws text in which formulas hide: starts, separators, quotes, blanks and marks close together.
func nasty() *rapid.Generator[string] {
	pieces := rapid.SampledFrom([]string{
		"=", "+", "-", "@", "＝", "＠", "'", "\"", ";", "\t", "\n", ",", " ", "\u00a0", "\u200b", "\ufeff", "a", "1", "0.5", "cmd|' /C calc'!A0", "é", "\x00", "\xff",
	})
	return rapid.OneOf(rapid.Map(rapid.SliceOfN(pieces, 0, 8), func(s []string) string { return strings.Join(s, "") }), rapid.String())
}

// lineEnds is what CSV cannot tell apart.
func lineEnds(s string) string { return strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(s) }

// Law: written by encoding/csv, read by encoding/csv, unguarded: what was there.
func TestGuard_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		row := rapid.SliceOfN(nasty(), 2, 5).Draw(t, "row")
		var file bytes.Buffer
		w := csv.NewWriter(&file)
		w.UseCRLF = true
		cells := make([]string, len(row))
		for i := range row {
			cells[i] = export.GuardCell(row[i])
		}
		if err := w.Write(cells); err != nil {
			t.Fatal(err)
		}
		w.Flush()
		read, err := csv.NewReader(&file).Read()
		if err != nil {
			t.Fatal(err)
		}
		for i := range row {
			got, err := export.UnguardCell(read[i])
			if err != nil || got != lineEnds(row[i]) {
				t.Fatalf("%q came back as %q, %v", row[i], got, err)
			}
		}
	})
}

// Law: no cell begins a formula, neither for a program that reads the file as it is meant, nor for one that splits at semicolons, tabs or line ends
// without regard for quotes. A plain number is none.
func TestGuard_NoFormula(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := export.GuardCell(nasty().Draw(t, "text"))
		pieces := append(strings.FieldsFunc(cell, func(r rune) bool { return r == ';' || r == '\t' || r == '\n' || r == '\r' }), cell)
		for _, piece := range pieces {
			piece = strings.TrimLeftFunc(piece, func(r rune) bool { return r == '"' || !unicode.IsGraphic(r) || unicode.IsSpace(r) })
			if piece != "" && strings.ContainsRune("=+-@＝＋－＠", []rune(piece)[0]) && strings.Trim(cell, "-0123456789.") != "" {
				t.Fatalf("%q begins with a formula in %q", piece, cell)
			}
		}
	})
}

func TestGuard_Cells(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "Ann": "Ann", "O'Neil": "O'Neil", "-1.5": "-1.5", "0": "0", "=1+1": "'=1+1", "+30 210": "'+30 210", "@x": "'@x", "'x": "''x", " =x": "' =x",
		"-1.5.2": "'-1.5.2", "-01": "'-01", "a;=b": "a;'=b", "a\n-b": "a\n'-b", "a\r\nb": "a\nb", "\"=x": "'\"=x", "＝x": "'＝x", "a, =b": "a, =b", "1e5": "1e5", "\ue000@": "'\ue000@", "-1e5": "'-1e5",
	} {
		if got := export.GuardCell(text); got != want {
			t.Errorf("%q is guarded as %q, want %q", text, got, want)
		}
	}
	for _, cell := range []string{"=1", "'x", "a;'b", "a\rb", "'-1.5", "''"} {
		if got, err := export.UnguardCell(cell); !errors.Is(err, export.ErrUnguarded) && cell != "''" {
			t.Errorf("%q was read as %q, %v", cell, got, err)
		}
	}
}

// What is read is written again as the same cell, and nothing that is not written is read.
func FuzzUnguardCell(f *testing.F) {
	for _, seed := range []string{"", "'=1", "=1", "''", "a;'-b", "-1", "\xff", "'\t'='"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, cell string) {
		text, err := export.UnguardCell(cell)
		if err == nil && export.GuardCell(text) != cell {
			t.Errorf("%q was read as %q, which is written as %q", cell, text, export.GuardCell(text))
		}
	})
}

// Each table reads back as written: the header, as many cells in each row, each cell the guard's, ends of lines CR LF, the mark of UTF-8 on request.
func TestCSV_Tables(t *testing.T) {
	rows := map[export.Table]int{}
	for seed := range uint64(12) {
		x := mustNew(t, newDrawer(seed).records(2))
		for _, table := range export.Tables() {
			file := mustCSV(t, x, table)
			var marked bytes.Buffer
			if err := x.WriteCSV(&marked, table, export.CSVOptions{BOM: true}); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(marked.Bytes(), append([]byte("\xef\xbb\xbf"), file...)) {
				t.Errorf("%s: the file with the mark is not the file after the mark", table)
			}
			if bytes.Count(file, []byte("\n")) != bytes.Count(file, []byte("\r\n")) {
				t.Errorf("%s: a line ends without CR LF", table)
			}
			read, err := csv.NewReader(bytes.NewReader(file)).ReadAll()
			if err != nil {
				t.Fatalf("%s: %v", table, err)
			}
			for _, row := range read {
				for i, cell := range row {
					if _, err := export.UnguardCell(cell); err != nil {
						t.Errorf("%s, %s: %v", table, read[0][i], err)
					}
				}
			}
			rows[table] += len(read) - 1
		}
	}
	t.Log(rows)
	for _, table := range export.Tables() {
		if rows[table] == 0 {
			t.Errorf("no row of %s", table)
		}
	}
	if err := mustNew(t, nil).WriteCSV(&bytes.Buffer{}, "staff", export.CSVOptions{}); !errors.Is(err, export.ErrNoTable) {
		t.Errorf("a table that is not there: %v", err)
	}
}

// Every column of a table is named in the table's section of the description, and in the one on what ends each.
func TestCSV_Described(t *testing.T) {
	page, err := os.ReadFile("../../docs/export-csv.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, table := range export.Tables() {
		_, section, ok := strings.Cut(string(page), "\n## "+string(table)+"\n")
		if !ok {
			t.Errorf("%s: no section", table)
		}
		section, _, _ = strings.Cut(section, "\n## ")
		header, err := csv.NewReader(bytes.NewReader(mustCSV(t, mustNew(t, nil), table))).Read()
		if err != nil {
			t.Fatal(err)
		}
		words := strings.FieldsFunc(section, func(r rune) bool { return r != '_' && !unicode.IsLetter(r) })
		ends := []string{"status", "void_reason", "voided_by_id", "voided_at", "in_conflict"}
		for i, column := range header {
			if i < len(header)-len(ends) && !slices.Contains(words, column) {
				t.Errorf("%s: the column %s is not described", table, column)
			}
		}
		if !slices.Equal(header[len(header)-len(ends):], ends) {
			t.Errorf("%s ends with %v", table, header)
		}
	}
}
