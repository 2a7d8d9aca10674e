package anatomy_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"needlebook/internal/anatomy"
)

var updateVectors = flag.Bool("anatomy.update", false, "write the answers of testdata/anatomy/vectors anew; read the difference before it is kept")

// The vectors' form. Lengths are micrometres.
type (
	vector struct {
		About  string        `json:"about"`
		Muscle string        `json:"muscle"`
		Places []vectorPlace `json:"places"`
	}
	vectorPlace struct {
		Frame               string        `json:"frame"`
		Side                string        `json:"side"`
		XMicrometers        int64         `json:"x_micrometers"`
		YMicrometers        int64         `json:"y_micrometers"`
		Measure             string        `json:"measure,omitempty"`
		MeasuredMicrometers int64         `json:"measured_micrometers,omitempty"`
		Answer              *vectorAnswer `json:"answer"`
	}
	vectorAnswer struct {
		Side                string          `json:"side"`
		Crossed             bool            `json:"crossed"`
		MidlineMicrometers  *int64          `json:"midline_micrometers"`
		MidlineByDefault    bool            `json:"midline_by_default"`
		Readings            []vectorReading `json:"readings"`
		Unmeasured          []vectorWithout `json:"unmeasured"`
		MirrorIsSame        bool            `json:"mirror_is_same"`
		AsymmetryToPrevious *[3]int64       `json:"asymmetry_to_previous,omitempty"`
	}
	vectorReading struct {
		Zone                string `json:"zone"`
		Level               string `json:"level"`
		Sense               string `json:"sense"`
		DistanceMicrometers int64  `json:"distance_micrometers"`
		MarginMicrometers   int64  `json:"margin_micrometers"`
		MarginSign          int    `json:"margin_sign"`
		ByDefault           bool   `json:"by_default"`
	}
	vectorWithout struct {
		Zone   string `json:"zone"`
		Reason string `json:"reason"`
	}
)

func (v vectorPlace) place(t *testing.T) anatomy.Place {
	t.Helper()
	p := anatomy.Place{Frame: anatomy.FrameCode(v.Frame), X: anatomy.Micrometre(v.XMicrometers), Y: anatomy.Micrometre(v.YMicrometers),
		Scale: anatomy.Scale{Measure: v.Measure, Measured: anatomy.Micrometre(v.MeasuredMicrometers)}}
	side, err := anatomy.ParseSide(v.Side)
	if err != nil {
		t.Fatal(err)
	}
	p.Side = side
	return p
}

func answer(where anatomy.Location) *vectorAnswer {
	a := &vectorAnswer{Side: where.Side.String(), Crossed: where.Crossed, MidlineByDefault: where.MidlineByDefault, Readings: []vectorReading{},
		Unmeasured: []vectorWithout{}}
	if where.MidlineKnown {
		midline := int64(where.Midline)
		a.MidlineMicrometers = &midline
	}
	for _, r := range where.Readings {
		a.Readings = append(a.Readings, vectorReading{r.Zone.Code, r.Zone.Offered().String(), r.Zone.Sense().String(), int64(r.Distance),
			int64(r.Margin.Distance), r.Margin.Sign, r.ByDefault})
	}
	for _, u := range where.Unmeasured {
		a.Unmeasured = append(a.Unmeasured, vectorWithout{u.Zone.Code, string(u.Reason)})
	}
	return a
}

// replay answers every place of a vector anew, each figure beside its twin.
func (v *vector) replay(t *testing.T) {
	t.Helper()
	muscle, err := anatomy.ParseMuscle(v.Muscle)
	if err != nil {
		t.Fatal(err)
	}
	zones := anatomy.ZonesFor(muscle.Code, anatomy.Zones())
	for i := range v.Places {
		p := v.Places[i].place(t)
		where := locate(t, p, zones...)
		f, _ := anatomy.FrameByCode(p.Frame)
		for _, r := range where.Readings {
			agrees(t, f, p, r)
		}
		a := answer(where)
		a.MirrorIsSame = same(t, a, answer(locate(t, anatomy.Mirror(p), zones...)))
		if i > 0 && where.Side == anatomy.SideLeft {
			if d, err := anatomy.Compare(v.Places[i-1].place(t), p); err == nil {
				a.AsymmetryToPrevious = &[3]int64{int64(d.Lateral), int64(d.Up), int64(d.Distance)}
			}
		}
		v.Places[i].Answer = a
	}
}

func same(t *testing.T, a, b *vectorAnswer) bool {
	t.Helper()
	x, y := *a, *b
	x.Side, y.Side = "", ""
	return bytes.Equal(encode(t, x), encode(t, y))
}

func encode(t *testing.T, v any) []byte {
	t.Helper()
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// The same bytes natively and under js/wasm.
func TestVectors(t *testing.T) {
	files, err := filepath.Glob("../../testdata/anatomy/vectors/*.json")
	if err != nil || len(files) < 5 {
		t.Fatalf("%d vectors, %v", len(files), err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".json"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var v vector
			d := json.NewDecoder(bytes.NewReader(text))
			d.DisallowUnknownFields()
			if err := d.Decode(&v); err != nil {
				t.Fatal(err)
			}
			v.replay(t)
			for _, p := range v.Places {
				if !p.Answer.MirrorIsSame {
					t.Errorf("the mirror of %v, %v is elsewhere", p.XMicrometers, p.YMicrometers)
				}
			}
			got := encode(t, v)
			if *updateVectors {
				if err := os.WriteFile(file, got, 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if !bytes.Equal(got, text) {
				t.Errorf("the answer differs:\n%s", got)
			}
		})
	}
}
