package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/formulary"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

// formularyDocument is the manual of editions. Its commands are run in a folder with its tables; what they print is what the page says.
const formularyDocument = "../../docs/formulary.md"

// A clinic's edition with an entry in every list, made from the entries that are shipped and set by the lead, is published, and the record that comes out
// is taken by the check that a server holds every edit against.
func TestThePublishedRecordKeepsTheSchema(t *testing.T) {
	built, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	draft := built.Message()
	draft.Label, draft.Version = proto.String("Harbour"), proto.String("harbour-1")
	code := "own"
	draft.LiftRules = []*formularyv1.LiftRuleEntry{{Value: &formularyv1.LiftRule{Code: "AGE_UNDER", NeedsReason: true}}}
	draft.PhotoViews = []*formularyv1.PhotoViewEntry{{Value: &formularyv1.PhotoView{Code: code, Region: "lower_face", Label: "Front", Expression: "at_rest",
		Provenance: &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_LEAD, Remark: "ours"}}}}
	draft.Tolerances = []*formularyv1.ToleranceEntry{{Value: &formularyv1.Tolerance{Code: code, SlipTimes: proto.Int32(5),
		Level: formularyv1.Level_LEVEL_CAUTION, Provenance: &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_LEAD, Remark: "ours"}}}}
	draft.TouchUpRules = []*formularyv1.TouchUpRuleEntry{{Value: &formularyv1.TouchUpRule{Code: code, Earliest: &formularyv1.Period{Days: 14},
		Latest: &formularyv1.Period{Days: 28}, Level: formularyv1.Level_LEVEL_CAUTION,
		Provenance: &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_LEAD, Remark: "ours"}}}}
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(draft)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "draft.json")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	exit, stdout, stderr := inProcess("", "formulary", "publish", "-json", "-out", dir, file)
	if exit != exitDone {
		t.Fatalf("exit %d: %s", exit, stderr)
	}
	req, err := readRecord(env{stdin: strings.NewReader(stdout)}, "formulary_edition", "")
	if err != nil {
		t.Fatal(err)
	}
	lists := 0
	edition := req.GetRecord().GetFormularyEdition()
	edition.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		if field.IsList() {
			lists++
		}
		return true
	})
	if lists != len(formulary.Sections()) {
		t.Errorf("%d lists have entries, want %d", lists, len(formulary.Sections()))
	}
	bytes, err := proto.MarshalOptions{Deterministic: true}.Marshal(edition)
	if err != nil {
		t.Fatal(err)
	}
	s, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	kind := optionsv1.RecordKind_RECORD_KIND_FORMULARY_EDITION
	writes, err := s.WritesFor(kind, bytes, nil)
	if err != nil {
		t.Fatal(err)
	}
	id, err := record.ParseID(edition.GetId())
	if err != nil {
		t.Fatal(err)
	}
	e := &record.Edit{Key: record.Key{Kind: kind, ID: id}, Writes: writes}
	if refusal := s.Check(e, record.FromDevice); refusal != nil {
		t.Error(refusal)
	}
	// The check is one: a publication, which is the server's to set, is refused.
	sum := built.Sum()
	edition.Published = &formularyv1.Publication{Hash: sum[:]}
	bytes, _ = proto.Marshal(edition)
	if writes, err = s.WritesFor(kind, bytes, nil); err != nil {
		t.Fatal(err)
	}
	e.Writes = writes
	if s.Check(e, record.FromDevice) == nil {
		t.Error("a publication from a device was taken")
	}
}

// What publish wrote is laid over the edition that is shipped again, with the same hash; its file is read-only.
func TestPublishedFile(t *testing.T) {
	dir := t.TempDir()
	draft := filepath.Join(dir, "draft.json")
	if err := os.WriteFile(draft, []byte(`{"label": "Harbour", "version": "harbour-1"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := inProcess("", "formulary", "publish", "-out", dir, "-by", "1e4c7a52-0000-4000-8000-000000000001", draft); code != exitDone {
		t.Fatal(stderr)
	}
	path := filepath.Join(dir, "harbour-1.json")
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o444 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	m, err := readEditionFile(path)
	if err != nil {
		t.Fatal(err)
	}
	built, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	sum := built.Sum()
	if by := m.GetPublished().GetPublished(); by.GetBy() != "1e4c7a52-0000-4000-8000-000000000001" || by.GetAt().AsTime().Year() != 2026 {
		t.Errorf("published %v", by)
	}
	if string(m.GetPublished().GetHash()) != string(sum[:]) || string(m.GetBase().GetHash()) != string(sum[:]) {
		t.Error("an edition that changes nothing has another hash than its base")
	}
	_, stdout, _ := inProcess("", "formulary", "show", "-json", "-section", "zones", "-edition", path)
	var shown struct {
		Version, Hash string
		Edition       struct{ Zones, Limits []json.RawMessage }
	}
	if err := json.Unmarshal([]byte(stdout), &shown); err != nil {
		t.Fatal(err)
	}
	if shown.Version != "harbour-1" || shown.Hash != built.Hash() || len(shown.Edition.Zones) != len(built.Zones("")) || len(shown.Edition.Limits) != 0 {
		t.Errorf("shown as %s, %s, %d zones, %d limits", shown.Version, shown.Hash, len(shown.Edition.Zones), len(shown.Edition.Limits))
	}
}

// A ring of editions ends with an error.
func TestEditionsInARing(t *testing.T) {
	dir := t.TempDir()
	for name, base := range map[string]string{"a": "b", "b": "a"} {
		if err := os.WriteFile(filepath.Join(dir, name+".json"), []byte(`{"version": "`+name+`", "base": {"version": "`+base+`"}}`), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if code, stdout, stderr := inProcess("", "formulary", "show", "-edition", filepath.Join(dir, "a.json")); code != exitFailed || stdout != "" {
		t.Errorf("exit %d: %s%s", code, stdout, stderr)
	}
}

// People's output keeps to 80 columns in every section, names each source that it cites, and steers no terminal.
func TestFormularyForPeople(t *testing.T) {
	dir := t.TempDir()
	steering := filepath.Join(dir, "steering.json")
	if err := os.WriteFile(steering, []byte(`{"label": "\u001b[2J", "version": "s", "sources": [{"value": {"code": "H1", "title": "`+
		strings.Repeat("long", 60)+`\u001b[2J", "obtained": "OBTAINED_READ"}}]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, args := range map[string][]string{
		"all": {"show"}, "steering": {"show", "-edition", steering}, "diff": {"diff", builtinName, steering}, "check": {"check", steering},
	} {
		code, stdout, stderr := inProcess("", append([]string{"formulary"}, args...)...)
		if code != exitDone {
			t.Errorf("%s: exit %d: %s", name, code, stderr)
		}
		for line := range strings.Lines(stdout) {
			if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > columns || strings.ContainsAny(line, "\x1b\u00a0") {
				t.Errorf("%s: %d columns: %q", name, n, line)
			}
		}
		if name != "check" && !strings.Contains(stdout, "The licensed prescriber decides") {
			t.Errorf("%s: no caution", name)
		}
	}
	for _, section := range formulary.Sections() {
		_, stdout, _ := inProcess("", "formulary", "show", "-section", section)
		if !strings.Contains(stdout, "\n"+upperFirst(strings.ReplaceAll(section, "_", " "))+"\n") {
			t.Errorf("%s: no head", section)
		}
	}
}

// TestFormularyDocument runs docs/formulary.md in a folder with the tables that it shows: in a block "```console", lines that begin with "$ " are
// commands and the rest is what they print; a block "```csv FILE" is a file. With -update it rewrites what they print.
func TestFormularyDocument(t *testing.T) {
	text, err := os.ReadFile(formularyDocument)
	if err != nil {
		t.Fatal(err)
	}
	page, err := filepath.Abs(formularyDocument)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	lines := strings.Split(string(text), "\n")
	var out []string
	commands := 0
	for i := 0; i < len(lines); i++ {
		out = append(out, lines[i])
		file, isFile := strings.CutPrefix(lines[i], "```csv ")
		if !isFile && lines[i] != "```console" {
			continue
		}
		end := i + 1 + slices.Index(lines[i+1:], "```")
		block := lines[i+1 : end]
		if isFile {
			writeTable(t, file, block)
			out = append(out, block...)
		} else {
			var printed []string
			for _, line := range block {
				if command, ok := strings.CutPrefix(line, "$ needlebook "); ok {
					commands++
					_, stdout, stderr := inProcess("", strings.Fields(command)...)
					printed = append(printed, line)
					printed = append(printed, strings.Split(strings.TrimSuffix(stdout+stderr, "\n"), "\n")...)
				}
			}
			if !*update && !slices.Equal(printed, block) {
				t.Errorf("%s prints\n%s", block[0], strings.Join(printed, "\n"))
			}
			out = append(out, printed...)
		}
		i = end - 1
	}
	if commands < 6 {
		t.Errorf("only %d commands", commands)
	}
	if *update && !t.Failed() {
		if err := os.WriteFile(page, []byte(strings.Join(out, "\n")), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func writeTable(t *testing.T, file string, lines []string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
}
