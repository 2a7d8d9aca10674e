package document

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite face.json from the tablet's drawing")

//go:generate go test . -run TestFace_IsTheTabletsDrawing -update

const tabletLines = "../tablet/src/ui/face/lines.ts"

// The face on paper is the tablet's: every line of its source, as data.
func TestFace_IsTheTabletsDrawing(t *testing.T) {
	source, err := os.ReadFile(tabletLines)
	if err != nil {
		t.Fatal(err)
	}
	want, err := json.Marshal(readLines(t, string(source)))
	if err != nil {
		t.Fatal(err)
	}
	want = append(bytes.ReplaceAll(want, []byte(`{"weight"`), []byte("\n"+`{"weight"`)), '\n')
	if *update {
		if err := os.WriteFile("face.json", want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("face.json")
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("face.json is not what %s says (%v): run go generate ./internal/document", tabletLines, err)
	}
}

// readLines reads the calls of line, over and shape, and the lists of points that they name.
func readLines(t *testing.T, source string) []faceLine {
	named := map[string]string{}
	for _, m := range regexp.MustCompile(`(?s)const (\w+): readonly Point\[\] = \[(.*?)\];`).FindAllStringSubmatch(source, -1) {
		named[m[1]] = m[2]
	}
	var out []faceLine
	for _, m := range regexp.MustCompile(`(?s)\b(line|over|shape)\(\s*"(\w+)",(.*?)\)`).FindAllStringSubmatch(source, -1) {
		text := strings.TrimSpace(m[3])
		if name, ok := strings.CutPrefix(text, "..."); ok {
			if text = named[name]; text == "" {
				t.Fatalf("no points are named %s", name)
			}
		}
		out = append(out, faceLine{Weight: m[2], Over: m[1] == "over", Closed: m[1] == "shape", Points: readPoints(t, text)})
	}
	if len(out) < 27 {
		t.Fatalf("%d lines were read of %s", len(out), tabletLines)
	}
	eye := strings.TrimPrefix(named["eyeWhite"], "")
	return append(out, faceLine{Weight: "eye", Closed: true, Points: readPoints(t, eye)})
}

func readPoints(t *testing.T, text string) (out [][2]float64) {
	for _, m := range regexp.MustCompile(`\[\s*(-?[\d.]+),\s*(-?[\d.]+)\s*\]`).FindAllStringSubmatch(text, -1) {
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		y, err := strconv.ParseFloat(m[2], 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, [2]float64{x, y})
	}
	if len(out) < 2 {
		t.Fatalf("no points in %q", text)
	}
	return out
}
