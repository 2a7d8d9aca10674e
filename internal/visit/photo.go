package visit

import (
	"cmp"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/formulary"
)

// ViewsFor lists the views to be photographed for what a visit plans or gave, in the order of the list: the edition's where it has any, else
// StandardViews.
func ViewsFor(e *formulary.Edition, s *chartv1.Session) []*formularyv1.PhotoView {
	var all []*formularyv1.PhotoView
	for _, entry := range e.Message().GetPhotoViews() {
		all = append(all, entry.GetValue())
	}
	if len(all) == 0 {
		all = StandardViews()
	}
	all = slices.DeleteFunc(all, func(v *formularyv1.PhotoView) bool { return !viewTreated(v.GetRegion(), s) })
	slices.SortStableFunc(all, func(a, b *formularyv1.PhotoView) int {
		return cmp.Or(cmp.Compare(a.GetPosition(), b.GetPosition()), strings.Compare(a.GetCode(), b.GetCode()))
	})
	return all
}

// viewTreated reports whether a view's region is treated; a region that is none of the anatomy's, such as whole_face, always is.
func viewTreated(region string, s *chartv1.Session) bool {
	return !anatomy.KnownTarget(region) || treatsTarget(s, region)
}

// StandardViews is the list that stands until the medical lead sets one: common practice, no source.
func StandardViews() []*formularyv1.PhotoView {
	view := func(code, region, label, expression string, position int32) *formularyv1.PhotoView {
		return &formularyv1.PhotoView{
			Code: code, Region: region, Label: label, Expression: expression, Position: position,
			Provenance: &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_COMMON_PRACTICE},
		}
	}
	return []*formularyv1.PhotoView{
		view("front_at_rest", "whole_face", "From the front, at rest", "at_rest", 10),
		view("right_oblique_at_rest", "whole_face", "Oblique from the patient's right, at rest", "at_rest", 20),
		view("left_oblique_at_rest", "whole_face", "Oblique from the patient's left, at rest", "at_rest", 30),
		view("front_frown", "upper_face", "From the front, frowning", "frown", 40),
		view("front_brows_up", "upper_face", "From the front, brows raised", "brows_up", 50),
		view("front_smile", "upper_face", "From the front, full smile", "full_smile", 60),
		view("mouth_front_smile", "lower_face", "The mouth from the front, full smile", "full_smile", 70),
		view("mouth_front_pursed", "lower_face", "The mouth from the front, lips pursed", "lips_pursed", 80),
		view("mouth_front_lower_teeth", "lower_face", "The mouth from the front, lower teeth showing", "lower_teeth", 90),
		view("mouth_front_corners_down", "lower_face", "The mouth from the front, corners pulled down", "corners_down", 100),
		view("neck_front_tense", "neck", "The neck from the front, tense", "neck_tense", 110),
	}
}

// MissingViews lists the views that a visit should have and no photo of it shows. Photos that were voided, erased or removed from the visit do not count;
// views that may be left out are not missing.
func MissingViews(e *formulary.Edition, s *chartv1.Session, photos []*chartv1.Photo) []*formularyv1.PhotoView {
	have := map[string]bool{}
	for _, p := range photosOf(s, photos) {
		have[p.GetView().GetView()] = true
	}
	return slices.DeleteFunc(ViewsFor(e, s), func(v *formularyv1.PhotoView) bool { return have[v.GetCode()] || v.GetMayBeLeftOut() })
}

// photosOf are the photos of a visit that count.
func photosOf(s *chartv1.Session, photos []*chartv1.Photo) (out []*chartv1.Photo) {
	for _, p := range photos {
		removed := false
		for _, x := range s.GetPhotos() {
			removed = removed || x.GetPhotoId() == p.GetId() && x.GetRemoved() != nil
		}
		if p.GetSessionId() == s.GetId() && p.GetPatientId() == s.GetPatientId() && p.GetVoid() == nil && p.GetImageErased() == nil && !removed {
			out = append(out, p)
		}
	}
	return out
}

// Compared is one view over time: at most one photo a visit, the earliest visit first.
type Compared struct {
	View   string           `json:"view"`
	Region string           `json:"region"`
	Photos []*chartv1.Photo `json:"photos"`
}

// CompareByView pairs a patient's photos by view over her visits, so that the same view of each can be laid side by side: of two of one view in one visit
// the later counts, and of one time the one with the greater id. Views are in the order of their names; those with one photo are among them.
func CompareByView(sessions []*chartv1.Session, photos []*chartv1.Photo) []Compared {
	visits := slices.Clone(sessions)
	slices.SortStableFunc(visits, func(a, b *chartv1.Session) int {
		return cmp.Or(cmp.Compare(dayNumber(a), dayNumber(b)), strings.Compare(a.GetId(), b.GetId()))
	})
	byView := map[string]*Compared{}
	for _, s := range visits {
		newest := map[string]*chartv1.Photo{}
		for _, p := range photosOf(s, photos) {
			if name := p.GetView().GetView(); name != "" && s.GetVoid() == nil && laterPhoto(p, newest[name]) {
				newest[name] = p
			}
		}
		for name, p := range newest {
			if byView[name] == nil {
				byView[name] = &Compared{View: name, Region: p.GetView().GetRegion()}
			}
			byView[name].Photos = append(byView[name].Photos, p)
		}
	}
	var out []Compared
	for _, c := range byView {
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b Compared) int { return strings.Compare(a.View, b.View) })
	return out
}

func laterPhoto(p, than *chartv1.Photo) bool {
	if than == nil {
		return true
	}
	order := p.GetTaken().GetAt().AsTime().Compare(than.GetTaken().GetAt().AsTime())
	return order > 0 || order == 0 && p.GetId() > than.GetId()
}

// TakePhoto is a photo's record, whole, and the part of the visit that holds it. The image comes after it, under its SHA-256. What it may be used for is
// never more than the patient allows; the record itself needs her leave too.
func TakePhoto(h Hand, s *chartv1.Session, patient *chartv1.Patient, image *chartv1.Image, view *chartv1.View, purposes ...string) (*chartv1.Photo, *chartv1.Session, error) {
	if err := May(Photograph, s, h.Roles...); err != nil {
		return nil, nil, err
	}
	if patient.GetId() != s.GetPatientId() {
		return nil, nil, wrong("patient_id", patient.GetId(), "the patient of the visit")
	}
	for _, purpose := range append([]string{"record"}, purposes...) {
		if !MayUsePhotos(patient, purpose) {
			return nil, nil, wrong("purposes", purpose, "a purpose that the patient allows photographs for")
		}
	}
	p := &chartv1.Photo{
		Id: h.NewID(), PatientId: new(s.GetPatientId()), SessionId: new(s.GetId()), ClinicId: s.ClinicId, Image: proto.CloneOf(image),
		View: proto.CloneOf(view), Taken: h.Act(),
	}
	if len(purposes) > 0 {
		p.Purposes = &chartv1.Purposes{Purposes: purposes}
	}
	out := part(s)
	out.Photos = []*chartv1.SessionPhoto{{Id: h.NewID(), PhotoId: new(p.GetId())}}
	return p, out, nil
}
