package stock

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/dose"
	"needlebook/internal/visit"
)

func voidOf(h visit.Hand, reason string) *recordv1.Void {
	return &recordv1.Void{Reason: reason, By: h.By, At: timestamppb.New(h.At.Truncate(time.Millisecond))}
}

// PutIn records where a vial is kept from now on: a place of the clinic's list, where it has one.
func PutIn(h visit.Hand, v *chartv1.Vial, clinic *chartv1.Clinic, place string) (*chartv1.Vial, error) {
	if err := clinical(h); err != nil {
		return nil, err
	}
	if known := placesOf(clinic); place == "" || len(known) > 0 && !slices.Contains(known, place) {
		return nil, wrong("storage_moves.move.place", place, "a place of the clinic: "+strings.Join(known, ", "))
	}
	return &chartv1.Vial{Id: v.GetId(), StorageMoves: []*chartv1.StorageMove{{Id: h.NewID(), Move: &chartv1.StoragePlace{Place: place, Moved: h.Act()}}}}, nil
}

func placesOf(clinic *chartv1.Clinic) (names []string) {
	for _, p := range clinic.GetStoragePlaces() {
		if p.GetEnded() == nil && p.GetPlace().GetName() != "" {
			names = append(names, p.GetPlace().GetName())
		}
	}
	return names
}

// PlaceOf is where a vial is kept: its newest move, and of two of one time the one whose id is greater; empty where none is recorded.
func PlaceOf(v *chartv1.Vial) string {
	moves := slices.Clone(v.GetStorageMoves())
	slices.SortFunc(moves, func(a, b *chartv1.StorageMove) int {
		return cmp.Or(a.GetMove().GetMoved().GetAt().AsTime().Compare(b.GetMove().GetMoved().GetAt().AsTime()), strings.Compare(a.GetId(), b.GetId()))
	})
	if len(moves) == 0 {
		return ""
	}
	return moves[len(moves)-1].GetMove().GetPlace()
}

// ReadThermometer records a reading for each vial that is kept at a place and is not gone: one part of a record for each.
func ReadThermometer(h visit.Hand, vials []*chartv1.Vial, place string, millicelsius int32, lowest, highest *int32) ([]*chartv1.Vial, error) {
	if err := clinical(h); err != nil {
		return nil, err
	}
	if place == "" {
		return nil, wrong("temperatures.reading.place", "", "the place read")
	}
	var out []*chartv1.Vial
	for _, v := range vials {
		if v.GetVoid() == nil && v.GetDiscarded() == nil && PlaceOf(v) == place {
			out = append(out, &chartv1.Vial{Id: v.GetId(), Temperatures: []*chartv1.TemperatureReading{{Id: h.NewID(), Reading: &chartv1.Temperature{
				Millicelsius: millicelsius, LowestMillicelsius: lowest, HighestMillicelsius: highest, Place: place, Read: h.Act(),
			}}}})
		}
	}
	return out, nil
}

// Excursion is a reading outside what the place should have.
type Excursion struct {
	Reading *chartv1.Temperature  `json:"reading"`
	Range   *chartv1.StorageRange `json:"range"`
}

// Excursions lists the readings of a vial that lie outside the range of the place, by the clinic's list; the lowest and the highest since the reading before
// count too. A place without a range, or that is not in the list, has none.
func Excursions(v *chartv1.Vial, clinic *chartv1.Clinic) (out []Excursion) {
	for _, t := range v.GetTemperatures() {
		r := t.GetReading()
		for _, p := range clinic.GetStoragePlaces() {
			if p.GetPlace().GetName() == r.GetPlace() && p.GetEnded() == nil && outside(r, p.GetPlace()) {
				out = append(out, Excursion{r, p.GetPlace()})
			}
		}
	}
	return out
}

func outside(r *chartv1.Temperature, place *chartv1.StorageRange) bool {
	lowest, highest := r.GetMillicelsius(), r.GetMillicelsius()
	if r.LowestMillicelsius != nil {
		lowest = min(lowest, r.GetLowestMillicelsius())
	}
	if r.HighestMillicelsius != nil {
		highest = max(highest, r.GetHighestMillicelsius())
	}
	return place.LowestMillicelsius != nil && lowest < place.GetLowestMillicelsius() ||
		place.HighestMillicelsius != nil && highest > place.GetHighestMillicelsius()
}

// Send begins a move to another clinic; kept is nil where nobody knows whether it travels cold.
func Send(h visit.Hand, v *chartv1.Vial, to string, kept *bool) (*chartv1.Vial, error) {
	if err := usable(h, v); err != nil {
		return nil, err
	}
	switch {
	case to == "" || to == v.GetClinicId():
		return nil, wrong("transfers.sent.to_clinic_id", to, "another clinic")
	case OnTheWay(v) != nil:
		return nil, wrong("transfers", "", "a vial that is not on the way already")
	}
	return &chartv1.Vial{Id: v.GetId(), Transfers: []*chartv1.Transfer{{Id: h.NewID(), Sent: &chartv1.TransferSending{
		FromClinicId: v.GetClinicId(), ToClinicId: to, KeptCold: kept, Sent: h.Act(),
	}}}}, nil
}

// OnTheWay is the transfer of a vial that has not arrived; nil where there is none.
func OnTheWay(v *chartv1.Vial) *chartv1.Transfer {
	for _, t := range v.GetTransfers() {
		if t.GetVoid() == nil && t.GetSent() != nil && t.GetArrived() == nil {
			return t
		}
	}
	return nil
}

// Arrive ends a move: the vial is the receiving clinic's from now on, at a place there.
func Arrive(h visit.Hand, v *chartv1.Vial, clinic *chartv1.Clinic, place string) (*chartv1.Vial, error) {
	if err := clinical(h); err != nil {
		return nil, err
	}
	t := OnTheWay(v)
	switch {
	case t == nil:
		return nil, wrong("transfers", "", "a vial that is on the way")
	case t.GetSent().GetToClinicId() != clinic.GetId():
		return nil, wrong("clinic_id", clinic.GetId(), "the clinic that it was sent to, "+t.GetSent().GetToClinicId())
	}
	out := &chartv1.Vial{Id: v.GetId(), ClinicId: new(clinic.GetId()), Transfers: []*chartv1.Transfer{{Id: t.GetId(), Arrived: h.Act()}}}
	if place != "" {
		part, err := PutIn(h, v, clinic, place)
		if err != nil {
			return nil, err
		}
		out.StorageMoves = part.GetStorageMoves()
	}
	return out, nil
}

// Held is one presentation of a product at a clinic.
type Held struct {
	Product           string `json:"product"`
	ContentMilliunits int32  `json:"content_milliunits"`
	// Unopened and Opened count vials; Opened are mixed, pierced or drawn from.
	Unopened int `json:"unopened"`
	Opened   int `json:"opened"`
	// Blocked are not to be used, OnTheWay are between clinics; neither is in the counts before.
	Blocked  int `json:"blocked"`
	OnTheWay int `json:"on_the_way"`
	// Expiring are those of the counted ones whose last day is at most so many days ahead, Expired those whose last day is over. The earliest first.
	Expiring []Expiry `json:"expiring"`
	Expired  []Expiry `json:"expired"`
}

// Expiry is a vial with its last day.
type Expiry struct {
	VialID string         `json:"vial_id"`
	Title  string         `json:"title"`
	On     *recordv1.Date `json:"on"`
}

// Ahead says what a clinic has, by product and content, and what expires within days from a day on. Vials that are gone, voided or for practice do not
// count; records of one physical vial count once.
func Ahead(vials []*chartv1.Vial, clinic string, today *recordv1.Date, days int) []Held {
	now, err := dose.NewDay(int(today.GetYear()), int(today.GetMonth()), int(today.GetDay()))
	if err != nil {
		return nil
	}
	counted := map[string]bool{}
	var out []Held
	for _, v := range sorted(vials) {
		same := SameAs(v, vials)
		gone := slices.ContainsFunc(append(same, v), func(x *chartv1.Vial) bool { return x.GetDiscarded() != nil })
		twice := slices.ContainsFunc(same, func(x *chartv1.Vial) bool { return counted[x.GetId()] })
		if v.GetVoid() != nil || v.GetPractice() != nil || gone || twice || v.GetClinicId() != clinic {
			continue
		}
		counted[v.GetId()] = true
		i := slices.IndexFunc(out, func(h Held) bool {
			return h.Product == v.GetPresentation().GetProduct() && h.ContentMilliunits == v.GetPresentation().GetContentMilliunits()
		})
		if i < 0 {
			i = len(out)
			out = append(out, Held{Product: v.GetPresentation().GetProduct(), ContentMilliunits: v.GetPresentation().GetContentMilliunits()})
		}
		out[i].count(v, same, now, days)
	}
	return out
}

func sorted(vials []*chartv1.Vial) []*chartv1.Vial {
	out := slices.Clone(vials)
	slices.SortFunc(out, func(a, b *chartv1.Vial) int {
		p, q := a.GetPresentation(), b.GetPresentation()
		return cmp.Or(strings.Compare(p.GetProduct(), q.GetProduct()), cmp.Compare(p.GetContentMilliunits(), q.GetContentMilliunits()),
			strings.Compare(visit.DateText(a.GetLabelling().GetExpiresOn()), visit.DateText(b.GetLabelling().GetExpiresOn())), strings.Compare(a.GetId(), b.GetId()))
	})
	return out
}

func (h *Held) count(v *chartv1.Vial, same []*chartv1.Vial, now dose.Day, days int) {
	switch {
	case v.GetBlocked() != nil:
		h.Blocked++
		return
	case OnTheWay(v) != nil:
		h.OnTheWay++
		return
	case slices.ContainsFunc(append(same, v), isOpened):
		h.Opened++
	default:
		h.Unopened++
	}
	on := v.GetLabelling().GetExpiresOn()
	last, err := dose.NewDay(int(on.GetYear()), int(on.GetMonth()), int(on.GetDay()))
	entry := Expiry{v.GetId(), Title(v), on}
	switch {
	case err != nil:
	case last < now:
		h.Expired = append(h.Expired, entry)
	case int(last-now) <= days:
		h.Expiring = append(h.Expiring, entry)
	}
}

func isOpened(v *chartv1.Vial) bool {
	drawn := slices.ContainsFunc(v.GetDraws(), func(d *chartv1.Draw) bool { return d.GetVoid() == nil })
	pierced := slices.ContainsFunc(v.GetEntries(), func(e *chartv1.VialEntry) bool { return e.GetVoid() == nil })
	return drawn || pierced || len(Preparations(v)) > 0
}
