package device

import (
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/chart"
	"needlebook/internal/formulary"
	"needlebook/internal/gather"
	"needlebook/internal/record"
)

// clockAgrees is how far the device's clock may be from the server's and still count as checked.
const clockAgrees = 2 * time.Minute

// Records is what the device holds, for gathering what a session or a patient is judged by. It is read from the device as it stands and is valid until
// the device's next change.
func (d *Device) Records() gather.Records { return &shelf{d: d} }

// Edition is the edition of the formulary that the device's own clinic chose, builtin being the one that is shipped and stands in otherwise.
func (d *Device) Edition(builtin *formulary.Edition) *formulary.Edition {
	e, _ := gather.Chosen(d.Records(), builtin, d.identity.Clinic)
	return e
}

// shelf is the records of a device. sessions and linked are made at the first use.
type shelf struct {
	d        *Device
	sessions map[string][]string // by patient
	linked   map[string][]string // by patient, in both directions
}

// View implements gather.Records.
func (s *shelf) View(kind optionsv1.RecordKind, id string) (*chartv1.RecordView, error) {
	parsed, err := record.ParseID(id)
	if err != nil {
		return nil, gather.ErrNone
	}
	k := record.Key{Kind: kind, ID: parsed}
	st := s.d.replica.View(k)
	if st.Empty() {
		return nil, gather.ErrNone
	}
	return s.d.chart.View(chart.Source{State: st, Held: s.d.replica.Held(k)})
}

// index folds the device's patients and sessions, which are few: those booked, recently seen, or asked for.
func (s *shelf) index() {
	if s.sessions != nil {
		return
	}
	s.sessions, s.linked = make(map[string][]string), make(map[string][]string)
	add := func(to map[string][]string, key, id string) {
		if !slices.Contains(to[key], id) {
			to[key] = append(to[key], id)
		}
	}
	for _, kind := range []record.Kind{optionsv1.RecordKind_RECORD_KIND_SESSION, optionsv1.RecordKind_RECORD_KIND_PATIENT} {
		for _, k := range s.d.replica.Keys(kind) {
			f := s.d.chart.FoldFacts(s.d.replica.View(k))
			for _, l := range f.Linked {
				add(s.linked, k.ID.String(), l.String())
				add(s.linked, l.String(), k.ID.String())
			}
			if kind == optionsv1.RecordKind_RECORD_KIND_SESSION {
				for _, p := range f.Patients {
					add(s.sessions, p.String(), k.ID.String())
				}
			}
		}
	}
}

// Person implements gather.Records.
func (s *shelf) Person(patient string) []string {
	s.index()
	out := []string{patient}
	for i := 0; i < len(out); i++ {
		for _, id := range s.linked[out[i]] {
			if !slices.Contains(out, id) {
				out = append(out, id)
			}
		}
	}
	slices.SortFunc(out, strings.Compare)
	return out
}

// Sessions implements gather.Records.
func (s *shelf) Sessions(patient string) []string {
	s.index()
	return s.sessions[patient]
}

// List implements gather.Records.
func (s *shelf) List(kind optionsv1.RecordKind) []string {
	var out []string
	for _, k := range s.d.replica.Keys(kind) {
		out = append(out, k.ID.String())
	}
	return out
}

// CompleteUntil implements gather.Records. How long other devices have been silent is the server's to know: only of a clinic whose one device is this one
// does the device know that all is here.
func (s *shelf) CompleteUntil(clinic string) *timestamppb.Timestamp {
	mine := false
	for _, id := range s.List(optionsv1.RecordKind_RECORD_KIND_DEVICE) {
		v, err := s.View(optionsv1.RecordKind_RECORD_KIND_DEVICE, id)
		if err != nil {
			return nil
		}
		m := v.GetRecord().GetDevice()
		switch {
		case m.GetRevoked() != nil, m.HomeClinicId != nil && m.GetHomeClinicId() != clinic:
		case id == s.d.identity.Device.String():
			mine = m.HomeClinicId != nil
		default:
			return nil
		}
	}
	if last := s.d.exchanges.LastMS; mine && last > 0 {
		return timestamppb.New(time.UnixMilli(last))
	}
	return nil
}

// Clock implements gather.Records.
func (s *shelf) Clock() dosev1.ClockState {
	x, now := s.d.exchanges, s.d.cfg.Now().UnixMilli()
	switch offset := time.Duration(x.OffsetMS) * time.Millisecond; {
	case now < max(x.CheckedMS, x.LastMS):
		return dosev1.ClockState_CLOCK_STATE_RAN_BACKWARDS
	case x.CheckedMS > 0 && offset.Abs() <= clockAgrees:
		return dosev1.ClockState_CLOCK_STATE_CHECKED
	default:
		return dosev1.ClockState_CLOCK_STATE_UNCHECKED
	}
}

// checkNames refuses products and muscles that neither the shipped edition nor one that a clinic chose knows.
func (d *Device) checkNames(builtin *formulary.Edition) chart.Names {
	return func(m proto.Message) error { return gather.CheckNames(d.Records(), builtin, m) }
}
