package anatomy

import (
	"encoding/csv"
	"math/big"
	"os"
	"strconv"
	"testing"
)

// table reads a table of testdata/anatomy as rows by column name.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open("../../testdata/anatomy/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// micrometres turns centimetres as text into the nearest micrometre, exactly.
func micrometres(t *testing.T, centimetres string) int64 {
	t.Helper()
	r, ok := new(big.Rat).SetString(centimetres)
	if !ok {
		t.Fatalf("not a number: %q", centimetres)
	}
	text := r.Mul(r, big.NewRat(10_000, 1)).FloatString(0)
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func mesh(t *testing.T) map[int]vertex {
	t.Helper()
	vertices := map[int]vertex{}
	for _, row := range table(t, "canonical_face_mesh_vertices.csv") {
		number, err := strconv.Atoi(row["vertex"])
		if err != nil {
			t.Fatal(err)
		}
		vertices[number] = vertex{micrometres(t, row["x_cm"]), micrometres(t, row["y_cm"]), micrometres(t, row["z_cm"])}
	}
	return vertices
}

// Source: the canonical face mesh, npm @mediapipe/face_mesh 0.4.1657299874 (its unit, the centimetre, from memory).
func TestModelIsTheMesh(t *testing.T) {
	vertices, used := mesh(t), 0
	if len(vertices) != 468 {
		t.Fatalf("%d vertices, the mesh has 468", len(vertices))
	}
	for number, want := range vertices {
		got := modelVertex(number)
		if got == (vertex{}) {
			continue
		}
		used++
		if got != want {
			t.Errorf("vertex %d: %v, the mesh has %v", number, got, want)
		}
		if mirrored := (vertex{-want.lateral, want.up, want.forward}); want.lateral != 0 && !contains(vertices, mirrored) {
			t.Errorf("vertex %d has no fellow on the right", number)
		}
	}
	if used != 32 {
		t.Errorf("%d vertices are used, the table has 32", used)
	}
}

func contains(vertices map[int]vertex, v vertex) bool {
	for _, w := range vertices {
		if v == w {
			return true
		}
	}
	return false
}

// Source: npm @tensorflow-models/facemesh 0.0.5 keypoints.js, by face_landmarks.csv. The names that are not in this list are from memory.
func TestNamedVertices(t *testing.T) {
	named := map[string]int{
		"left outer canthus": outerCanthus, "left inner canthus": innerCanthus, "left mouth corner": mouthCorner, "upper lip outer midline": upperLipMiddle,
		"lower lip outer midline": lowerLipMiddle, "nose tip": noseTipMiddle, "nose bottom": noseBottomMiddle, "nose left corner": noseCorner,
		"midway between eyes": betweenEyes, "left brow upper, lateral end": browLateralEnd, "left brow upper, middle": browMiddle,
		"left brow upper, medial end": browMedialEnd, "chin (lowest silhouette point)": chinLowest, "left side of face": faceSide,
		"left jaw angle region": jawAngle,
	}
	seen := 0
	for _, row := range table(t, "face_landmarks.csv") {
		number, ok := named[row["landmark"]]
		if !ok {
			continue
		}
		seen++
		if strconv.Itoa(number) != row["vertex"] {
			t.Errorf("%s is vertex %s, not %d", row["landmark"], row["vertex"], number)
		}
	}
	if seen != len(named) {
		t.Errorf("%d of %d names are in the table", seen, len(named))
	}
}

// Source: distances measured on the mesh when it was taken out of its package: mouth corners 4.912, outer canthi 8.892, inner canthi 3.713.
func TestDefaultsAreTheMeshs(t *testing.T) {
	v := mesh(t)
	apart := func(right, left int) Micrometre { return Micrometre(v[left].lateral - v[right].lateral) }
	for _, c := range []struct {
		frame   FrameCode
		measure string
		want    Micrometre
	}{
		{FrameMouth, "mouth_width", apart(61, 291)},
		{FrameChin, "mouth_width", apart(61, 291)},
		{FrameMouth, "lip_height", Micrometre(v[0].up - v[17].up)},
		{FrameChin, "chin_height", Micrometre(v[17].up - v[152].up)},
		{FrameBrow, "interbrow_width", apart(55, 285)},
		{FrameOrbit, "eye_width", apart(33, 133)},
		{FrameNose, "nose_height", Micrometre(v[168].up - v[2].up)},
		{FrameNose, "nose_corner_width", apart(98, 327)},
		{FrameNeck, "jaw_width", apart(172, 397)},
		{FrameCheek, "corner_height", Micrometre(v[61].up - v[172].up)},
		{FrameCheek, "masseter_width", 35_000},     // from memory
		{FrameForehead, "forehead_height", 60_000}, // from memory
	} {
		f, _ := FrameByCode(c.frame)
		m, ok := f.Measure(c.measure)
		if !ok || m.Default != c.want {
			t.Errorf("%s of %s is %v by default, want %v", c.measure, c.frame, m.Default, c.want)
		}
	}
	if got := apart(61, 291); (got+5)/10 != 4912 {
		t.Errorf("mouth corners are %v apart, measured 4.912 cm", got)
	}
	if got := apart(33, 263); (got+5)/10 != 8892 {
		t.Errorf("outer canthi are %v apart, measured 8.892 cm", got)
	}
	if got := apart(133, 362); (got+5)/10 != 3713 {
		t.Errorf("inner canthi are %v apart, measured 3.713 cm", got)
	}
}

// The same landmark in two flat frames is the same point of the model: the frames differ by a shift.
func TestFlatFramesAgree(t *testing.T) {
	for _, a := range Frames() {
		for _, b := range Frames() {
			if !a.Flat || !b.Flat {
				continue
			}
			for _, l := range a.Landmarks {
				m, ok := b.Landmark(l.Code)
				if !ok || m.Kind != l.Kind {
					continue
				}
				for i, p := range l.Points {
					lateral := int64(p.Lateral) + a.origin.lateral - b.origin.lateral - int64(m.Points[i].Lateral)
					up := int64(p.Up) + a.origin.up - b.origin.up - int64(m.Points[i].Up)
					if l.Kind != KindLevel && lateral != 0 || l.Kind != KindUpright && up != 0 {
						t.Errorf("%s is elsewhere in %s than in %s", l.Code, a.Code, b.Code)
					}
				}
			}
		}
	}
}

// Landmarks keep what the distances rely on: points from medial to lateral, on the left half in frames of the midline, and within reach.
func TestLandmarksAreWellFormed(t *testing.T) {
	for _, f := range Frames() {
		for _, l := range f.Landmarks {
			if want := (l.Kind == KindPath); len(l.Points) == 0 || want != (len(l.Points) > 1) {
				t.Errorf("%s %s has %d points", f.Code, l.Code, len(l.Points))
			}
			if _, ok := f.Measure(l.Needs); l.Needs != "" && !ok {
				t.Errorf("%s %s needs %s, which is no measure of its frame", f.Code, l.Code, l.Needs)
			}
			for i, p := range l.Points {
				if i > 0 && p.Lateral <= l.Points[i-1].Lateral {
					t.Errorf("%s %s turns back at point %d", f.Code, l.Code, i)
				}
				if !f.Sided && p.Lateral < 0 || p.Lateral < -200_000 || p.Lateral > 200_000 || p.Up < -200_000 || p.Up > 200_000 {
					t.Errorf("%s %s: point %d is at %v", f.Code, l.Code, i, p)
				}
			}
		}
		for _, m := range f.Measures {
			if m.Default < LeastMeasured || m.Default > 200_000 {
				t.Errorf("%s %s is %v by default", f.Code, m.Code, m.Default)
			}
		}
	}
}

// The chord of the cheek, by Pythagoras in math/big.
func TestCheekIsMeasuredAlongItsChord(t *testing.T) {
	v, f := mesh(t), cheekFrame()
	l, _ := f.Landmark("mouth_corner")
	dx, dz := big.NewInt(v[291].lateral-v[397].lateral), big.NewInt(v[291].forward-v[397].forward)
	square := new(big.Int).Add(dx.Mul(dx, dx), dz.Mul(dz, dz))
	got := big.NewInt(int64(-l.Points[0].Lateral))
	// got is the nearest whole to the root when (2 got - 1)^2 <= 4 square < (2 got + 1)^2.
	low, high := new(big.Int).Sub(new(big.Int).Lsh(got, 1), big.NewInt(1)), new(big.Int).Add(new(big.Int).Lsh(got, 1), big.NewInt(1))
	square.Lsh(square, 2)
	if low.Mul(low, low).Cmp(square) > 0 || high.Mul(high, high).Cmp(square) <= 0 {
		t.Errorf("the mouth corner is %v medial of the angle of the mandible", got)
	}
}
