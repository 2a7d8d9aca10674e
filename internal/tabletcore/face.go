package tabletcore

import (
	"encoding/json"
	"errors"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/reckon"
)

type shownRegion struct {
	Code string `json:"code"`
	Name string `json:"name"`
}

type shownArea struct {
	Code    string   `json:"code"`
	Name    string   `json:"name"`
	Region  string   `json:"region"`
	Muscles []string `json:"muscles"`
	Part    string   `json:"part"`
}

type shownMuscle struct {
	Code   string   `json:"code"`
	Name   string   `json:"name"`
	Nature string   `json:"nature"`
	Region string   `json:"region"`
	Frame  string   `json:"frame"`
	Action string   `json:"action"`
	Target bool     `json:"target"`
	Parts  []string `json:"parts"`
}

type shownMeasure struct {
	Code      string `json:"code"`
	Name      string `json:"name"`
	Between   string `json:"between"`
	Axis      string `json:"axis"`
	DefaultMM string `json:"default_mm"`
}

type shownFrame struct {
	Code     string         `json:"code"`
	Name     string         `json:"name"`
	Sided    bool           `json:"sided"`
	Origin   string         `json:"origin"`
	Flat     bool           `json:"flat"`
	Measures []shownMeasure `json:"measures"`
}

func natureWord(n anatomy.Nature) string {
	switch n {
	case anatomy.Paired:
		return "paired"
	case anatomy.Midline:
		return "midline"
	default:
		return "across"
	}
}

// anatomyAll lists what is charted on, from above.
func anatomyAll(*Core, request) (answer, error) {
	var out struct {
		Regions []shownRegion `json:"regions"`
		Areas   []shownArea   `json:"areas"`
		Muscles []shownMuscle `json:"muscles"`
		Frames  []shownFrame  `json:"frames"`
	}
	for _, r := range anatomy.Regions() {
		out.Regions = append(out.Regions, shownRegion{string(r), r.Name()})
	}
	for _, a := range anatomy.Areas() {
		out.Areas = append(out.Areas, shownArea{a.Code, a.Name, string(a.Region), nonNil(a.Muscles), a.Part})
	}
	for _, m := range anatomy.Muscles() {
		out.Muscles = append(out.Muscles, shownMuscle{
			m.Code, m.Name, natureWord(m.Nature), string(m.Region), string(m.Frame), m.Action, m.Target, nonNil(m.Parts),
		})
	}
	for _, f := range anatomy.Frames() {
		shown := shownFrame{Code: string(f.Code), Name: f.Name, Sided: f.Sided, Origin: f.Origin, Flat: f.Flat, Measures: []shownMeasure{}}
		for _, m := range f.Measures {
			shown.Measures = append(shown.Measures, shownMeasure{m.Code, m.Name, m.Between, m.Axis.String(), m.Default.Decimal()})
		}
		out.Frames = append(out.Frames, shown)
	}
	return answer{json: out}, nil
}

func nonNil(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

type shownPoint struct {
	X string `json:"x_mm"`
	Y string `json:"y_mm"`
}

type shownOutline struct {
	Code   string       `json:"code"`
	Name   string       `json:"name"`
	Kind   string       `json:"kind"`
	Points []shownPoint `json:"points"`
	Radius string       `json:"radius_mm"`
}

func kindWord(k anatomy.Kind) string {
	switch k {
	case anatomy.KindPoint:
		return "point"
	case anatomy.KindLevel:
		return "level"
	case anatomy.KindUpright:
		return "upright"
	default:
		return "path"
	}
}

func outlineOf(code, name string, o anatomy.Outline) shownOutline {
	out := shownOutline{Code: code, Name: name, Kind: kindWord(o.Kind), Points: []shownPoint{}, Radius: o.Radius.Decimal()}
	for _, p := range o.Positions {
		out.Points = append(out.Points, shownPoint{p.X.Decimal(), p.Y.Decimal()})
	}
	return out
}

type shownEdge struct {
	shownOutline
	Zone  string `json:"zone"`
	Sense string `json:"sense"`
	Level string `json:"level"`
	Bound string `json:"bound_mm"`
}

type shownUnmeasured struct {
	Zone   string `json:"zone"`
	Reason string `json:"reason"`
}

// frameRequest is what a drawing is asked for.
type frameRequest struct {
	Frame  string `json:"frame"`
	Side   string `json:"side"`
	Muscle string `json:"muscle"`
	Scale  *struct {
		Measure    string `json:"measure"`
		MeasuredMM string `json:"measured_mm"`
	} `json:"scale"`
}

func sideOf(name string) anatomy.Side {
	switch name {
	case "SIDE_RIGHT":
		return anatomy.SideRight
	case "SIDE_LEFT":
		return anatomy.SideLeft
	case "SIDE_MIDLINE":
		return anatomy.SideMidline
	}
	return anatomy.SideNone
}

func sideName(s anatomy.Side) string {
	switch s {
	case anatomy.SideRight:
		return "SIDE_RIGHT"
	case anatomy.SideLeft:
		return "SIDE_LEFT"
	case anatomy.SideMidline:
		return "SIDE_MIDLINE"
	default:
		return "SIDE_UNSPECIFIED"
	}
}

func senseWord(s anatomy.Sense) string {
	if s == anatomy.KeepIn {
		return "keep_in"
	}
	return "keep_out"
}

// anatomical makes an error of the anatomy a refusal of its field.
func anatomical(err error) error {
	var e *anatomy.Error
	if errors.As(err, &e) {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, e.Field, e.Read, e.Reason.Error())
	}
	return err
}

// zonesOf is the zones of the formulary that hold for a muscle.
func (c *Core) zonesOf(muscle string) []anatomy.Zone {
	var out []anatomy.Zone
	for _, z := range c.editionHere().Zones("") {
		if !anatomy.Covers(z.GetTarget(), muscle) {
			continue
		}
		of := anatomy.Zone{
			Code: z.GetCode(), Target: z.GetTarget(), Frame: anatomy.FrameCode(z.GetFrame()), Landmark: z.GetLandmark(),
			Direction: anatomy.Direction(z.GetDirection()), Level: levelOf(formulary.Weaker(z.GetLevel(), formulary.MostLevel(z.GetProvenance()))),
		}
		if z.LeastMicrometers != nil {
			of.Least = anatomy.At(anatomy.Micrometre(z.GetLeastMicrometers()))
		}
		if z.MostMicrometers != nil {
			of.Most = anatomy.At(anatomy.Micrometre(z.GetMostMicrometers()))
		}
		out = append(out, of)
	}
	return out
}

func levelOf(l formularyv1.Level) anatomy.Level {
	switch l {
	case formularyv1.Level_LEVEL_HOLD:
		return anatomy.Hold
	case formularyv1.Level_LEVEL_CAUTION:
		return anatomy.Caution
	default:
		return anatomy.Note
	}
}

// drawing is where landmarks of a frame, and the edges of a muscle's zones in it, are to be drawn.
func drawing(c *Core, r request) (answer, error) {
	var m frameRequest
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	f, err := anatomy.ParseFrame(m.Frame)
	if err != nil {
		return answer{}, anatomical(err)
	}
	scale, err := m.scale()
	if err != nil {
		return answer{}, err
	}
	out := struct {
		Landmarks  []shownOutline    `json:"landmarks"`
		Edges      []shownEdge       `json:"edges"`
		Unmeasured []shownUnmeasured `json:"unmeasured"`
	}{[]shownOutline{}, []shownEdge{}, []shownUnmeasured{}}
	for _, l := range f.Landmarks {
		o, ok, err := anatomy.Draw(f.Code, l.Code, sideOf(m.Side), scale)
		if err != nil {
			return answer{}, anatomical(err)
		}
		if ok {
			out.Landmarks = append(out.Landmarks, outlineOf(l.Code, l.Name, o))
		}
	}
	for _, z := range c.zonesOf(m.Muscle) {
		if z.Frame != f.Code {
			continue
		}
		edges, ok, err := anatomy.DrawEdges(z, sideOf(m.Side), scale)
		if err != nil {
			return answer{}, anatomical(err)
		}
		if !ok {
			out.Unmeasured = append(out.Unmeasured, shownUnmeasured{z.Code, string(anatomy.NotMeasured)})
		}
		for _, e := range edges {
			out.Edges = append(out.Edges, shownEdge{outlineOf(z.Code, landmarkName(f, z), e.Outline), z.Code, senseWord(z.Sense()), z.Level.String(), e.Bound.Decimal()})
		}
	}
	return answer{json: out}, nil
}

// landmarkName says what a zone is measured from, for people.
func landmarkName(f anatomy.Frame, z anatomy.Zone) string {
	if l, ok := f.Landmark(z.Landmark); ok {
		return string(z.Direction) + " " + l.Name
	}
	return z.Code
}

func (m frameRequest) scale() (anatomy.Scale, error) {
	if m.Scale == nil {
		return anatomy.Scale{}, nil
	}
	measured, err := readMillimetres("scale.measured_mm", m.Scale.MeasuredMM)
	return anatomy.Scale{Measure: m.Scale.Measure, Measured: measured}, err
}

// readMillimetres reads a decimal of at most three decimals, with a sign or without, exactly.
func readMillimetres(field, text string) (anatomy.Micrometre, error) {
	wrong := fault.New(faultv1.Reason_REASON_BAD_QUANTITY, field, text, "millimetres with at most 3 decimals, from -300 to 300")
	digits, negative := strings.CutPrefix(text, "-")
	whole, part, _ := strings.Cut(digits, ".")
	if whole == "" || len(whole) > 3 || len(part) > 3 || strings.HasSuffix(digits, ".") {
		return 0, wrong
	}
	var n anatomy.Micrometre
	for _, d := range whole + (part + "000")[:3] {
		if d < '0' || d > '9' {
			return 0, wrong
		}
		n = n*10 + anatomy.Micrometre(d-'0')
	}
	if negative {
		n = -n
	}
	if n < -anatomy.MostOffset || n > anatomy.MostOffset {
		return 0, wrong
	}
	return n, nil
}

// placeRequest is a place with what it is for.
type placeRequest struct {
	Place  *chartv1.Place
	Side   string
	Muscle string
}

func readPlace(m *chartv1.Place, side anatomy.Side) anatomy.Place {
	return anatomy.Place{
		Frame: anatomy.FrameCode(m.GetFrame()), Side: side, X: anatomy.Micrometre(m.GetXMicrometers()), Y: anatomy.Micrometre(m.GetYMicrometers()),
		Scale: anatomy.Scale{Measure: m.GetScale().GetMeasure(), Measured: anatomy.Micrometre(m.GetScale().GetMeasuredMicrometers())},
	}
}

func writePlace(p anatomy.Place) *chartv1.Place {
	out := &chartv1.Place{Frame: string(p.Frame), XMicrometers: int32(p.X), YMicrometers: int32(p.Y)}
	if p.Scale.Measure != "" {
		out.Scale = &chartv1.FrameScale{Measure: p.Scale.Measure, MeasuredMicrometers: int32(p.Scale.Measured)}
	}
	return out
}

type shownReading struct {
	Zone      string `json:"zone"`
	Name      string `json:"name"`
	Sense     string `json:"sense"`
	Level     string `json:"level"`
	Distance  string `json:"distance_mm"`
	Margin    string `json:"margin_mm"`
	Inside    bool   `json:"inside"`
	ByDefault bool   `json:"by_default"`
}

// locate says how far a place is from the edge of each zone of its muscle: {"place", "side", "muscle"}.
func locate(c *Core, r request) (answer, error) {
	m, err := readPlaceRequest(r)
	if err != nil {
		return answer{}, err
	}
	at, err := anatomy.Locate(readPlace(m.Place, sideOf(m.Side)), c.zonesOf(m.Muscle))
	if err != nil {
		return answer{}, anatomical(err)
	}
	out := struct {
		Side       string            `json:"side"`
		Crossed    bool              `json:"crossed"`
		Midline    string            `json:"midline_mm"`
		Readings   []shownReading    `json:"readings"`
		Unmeasured []shownUnmeasured `json:"unmeasured"`
	}{Side: sideName(at.Side), Crossed: at.Crossed, Readings: []shownReading{}, Unmeasured: []shownUnmeasured{}}
	if at.MidlineKnown {
		out.Midline = at.Midline.Decimal()
	}
	for _, x := range at.Readings {
		out.Readings = append(out.Readings, shownReading{
			x.Zone.Code, string(x.Zone.Direction) + " " + x.Landmark.Name, senseWord(x.Zone.Sense()), x.Zone.Level.String(), x.Distance.Decimal(),
			x.Margin.Distance.Decimal(), x.Inside(), x.ByDefault,
		})
	}
	for _, x := range at.Unmeasured {
		out.Unmeasured = append(out.Unmeasured, shownUnmeasured{x.Zone.Code, string(x.Reason)})
	}
	return answer{json: out}, nil
}

func readPlaceRequest(r request) (m placeRequest, err error) {
	var in struct {
		Place  json.RawMessage `json:"place"`
		Side   string          `json:"side"`
		Muscle string          `json:"muscle"`
	}
	if err := r.read(&in); err != nil {
		return m, err
	}
	m = placeRequest{&chartv1.Place{}, in.Side, in.Muscle}
	return m, reckon.UnmarshalJSON(in.Place, m.Place)
}

// mirror is where the mirror puts a place on the other side; the request is the place.
func mirror(_ *Core, r request) (answer, error) {
	m := &chartv1.Place{}
	if err := reckon.UnmarshalJSON(r.json, m); err != nil {
		return answer{}, err
	}
	raw, err := messageJSON(writePlace(anatomy.Mirror(readPlace(m, anatomy.SideNone))))
	return answer{json: raw}, err
}
