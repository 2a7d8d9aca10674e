package stock

import (
	"fmt"
	"slices"
	"strings"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/gs1"
	"needlebook/internal/visit"
)

// mostElementBytes is the most of a barcode that a record keeps.
const mostElementBytes = 256

// Receipt is a vial that comes in.
type Receipt struct {
	ClinicID string
	// Product and ContentUnits say what it is; PresentationCode, empty for none, is the formulary's entry, from which the two are taken where they are empty.
	Product           string
	ContentMilliunits int32
	PresentationCode  string
	// Scan is the bytes of the pack's barcode; empty where the label is read by hand. Then Lot and Expires are needed.
	Scan    []byte
	Lot     string
	Expires *recordv1.Date
	Serial  string
	GTIN    string
	// ShortNumber is what is written on the vial by hand; empty makes one where the pack has no serial.
	ShortNumber string
	// Supplier and DeliveryNote may be empty; ArrivedCold is nil where nobody checked.
	Supplier, DeliveryNote string
	ArrivedCold            *bool
	// Place is where it was put; empty for nowhere yet.
	Place string
	// Practice says that it holds no drug.
	Practice bool
}

// clinical refuses a hand that does not work with patients.
func clinical(h visit.Hand) error {
	for _, r := range h.Roles {
		if r == visit.Injector || r == visit.Lead || r == visit.Assistant {
			return nil
		}
	}
	return fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "roles", rolesText(h.Roles), "an injector, a medical lead or an assistant")
}

func rolesText(roles []accessv1.Role) string {
	var all []string
	for _, r := range roles {
		all = append(all, visit.RoleText(r))
	}
	return strings.Join(all, ", ")
}

func wrong(field, read, want string) error {
	return fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, read, want)
}

func notThere(field, read string) error {
	return fault.New(faultv1.Reason_REASON_NOT_FOUND, field, read, "")
}

// Receive is a new vial's record, whole. Of a barcode lot, expiry, serial and item number are taken, and none of them from elsewhere. known are the vials
// that are here: the same item number and serial, or the same short number, is refused, and named.
func Receive(h visit.Hand, e *formulary.Edition, known []*chartv1.Vial, r Receipt) (*chartv1.Vial, error) {
	if err := clinical(h); err != nil {
		return nil, err
	}
	if r.ClinicID == "" {
		return nil, wrong("clinic_id", "", "the clinic that has it")
	}
	presentation, err := r.presentation(e)
	if err != nil {
		return nil, err
	}
	labelling, err := r.labelling(h)
	if err != nil {
		return nil, err
	}
	if err := labelling.once(known); err != nil {
		return nil, err
	}
	v := &chartv1.Vial{
		Id: h.NewID(), Presentation: presentation, Labelling: labelling.m, ClinicId: new(r.ClinicID),
		Receipt: &chartv1.VialReceipt{Received: h.Act(), Supplier: r.Supplier, DeliveryNote: r.DeliveryNote, ArrivedCold: r.ArrivedCold},
	}
	if v.ShortNumber, err = r.short(v, known); err != nil {
		return nil, err
	}
	if r.Place != "" {
		v.StorageMoves = []*chartv1.StorageMove{{Id: h.NewID(), Move: &chartv1.StoragePlace{Place: r.Place, Moved: h.Act()}}}
	}
	if r.Practice {
		v.Practice = &chartv1.PracticeMark{Set: h.Act()}
	}
	return v, nil
}

// presentation is what the vial holds, by the formulary's entry or by hand.
func (r Receipt) presentation(e *formulary.Edition) (*chartv1.VialPresentation, error) {
	p := &chartv1.VialPresentation{Product: r.Product, ContentMilliunits: r.ContentMilliunits}
	if r.PresentationCode != "" {
		found := presentationOf(e, r.PresentationCode)
		switch {
		case found == nil:
			return nil, wrong("presentation.presentation_code", r.PresentationCode, "a presentation of the formulary")
		case p.GetProduct() != "" && p.GetProduct() != found.GetProduct():
			return nil, wrong("presentation.product", p.GetProduct(), found.GetProduct()+", as the formulary's entry")
		case p.GetContentMilliunits() != 0 && p.GetContentMilliunits() != found.GetContentMilliunits():
			return nil, wrong("presentation.content_milliunits", fmt.Sprint(p.GetContentMilliunits()), "the content of the formulary's entry")
		}
		p.Product, p.ContentMilliunits, p.LiquidNanoliters = found.GetProduct(), found.GetContentMilliunits(), found.LiquidNanoliters
		p.PresentationCode = &r.PresentationCode
	}
	if _, ok := e.Product(p.GetProduct()); !ok {
		var known []string
		for _, x := range e.Products() {
			known = append(known, x.GetName())
		}
		return nil, fault.New(faultv1.Reason_REASON_UNKNOWN_PRODUCT, "presentation.product", p.GetProduct(),
			"one of "+strings.Join(known, ", ")+"; a barcode does not name it")
	}
	if p.GetContentMilliunits() <= 0 {
		return nil, wrong("presentation.content_milliunits", "", "what the vial holds")
	}
	if p.PresentationCode != nil {
		return p, nil
	}
	for _, x := range e.Presentations(p.GetProduct()) {
		if x.GetContentMilliunits() == p.GetContentMilliunits() {
			p.PresentationCode, p.LiquidNanoliters = new(x.GetCode()), x.LiquidNanoliters
			break
		}
	}
	return p, nil
}

func presentationOf(e *formulary.Edition, code string) *formularyv1.Presentation {
	for _, product := range e.Products() {
		for _, p := range e.Presentations(product.GetName()) {
			if p.GetCode() == code {
				return p
			}
		}
	}
	return nil
}

type labelling struct{ m *chartv1.VialLabelling }

// labelling reads the label, from the barcode or by hand.
func (r Receipt) labelling(h visit.Hand) (labelling, error) {
	m := &chartv1.VialLabelling{
		LotNumber: r.Lot, ExpiresOn: r.Expires, Serial: r.Serial, Gtin: r.GTIN, Reading: chartv1.LabelReading_LABEL_READING_HAND, Read: h.Act(),
	}
	if len(r.Scan) == 0 {
		if r.Lot == "" || r.Expires == nil {
			return labelling{}, wrong("labelling", "", "the barcode, or lot and expiry as printed")
		}
		if r.GTIN != "" {
			gtin, err := gs1.ParseGTIN(r.GTIN)
			if err != nil {
				return labelling{}, wrong("labelling.gtin", r.GTIN, "a trade item number whose last digit fits")
			}
			m.Gtin = gtin
		}
		return labelling{m}, nil
	}
	if r.Lot != "" || r.Expires != nil || r.Serial != "" || r.GTIN != "" {
		return labelling{}, wrong("labelling", "", "either the barcode or the label by hand, not both")
	}
	if len(r.Scan) > mostElementBytes {
		return labelling{}, wrong("labelling.element_string", fmt.Sprintf("%d bytes", len(r.Scan)), fmt.Sprintf("at most %d bytes", mostElementBytes))
	}
	read, err := gs1.Parse(r.Scan, h.At.UTC().Year())
	if err != nil {
		return labelling{}, wrong("labelling.element_string", "", "a GS1 element string: "+err.Error())
	}
	if read.Lot == "" || read.Expiry.IsZero() {
		return labelling{}, wrong("labelling.element_string", read.Bracketed(), "a barcode with lot (10) and expiry (17); read the label by hand")
	}
	m.LotNumber, m.Serial, m.Gtin, m.ElementString = read.Lot, read.Serial, read.GTIN, slices.Clone(r.Scan)
	m.ExpiresOn = &recordv1.Date{Year: int32(read.Expiry.Year), Month: int32(read.Expiry.Month), Day: int32(read.Expiry.Day)}
	m.Reading = chartv1.LabelReading_LABEL_READING_GS1
	return labelling{m}, nil
}

// once refuses a pack that is here already.
func (l labelling) once(known []*chartv1.Vial) error {
	for _, v := range known {
		x := v.GetLabelling()
		if l.m.GetSerial() != "" && v.GetVoid() == nil && x.GetSerial() == l.m.GetSerial() && x.GetGtin() == l.m.GetGtin() &&
			x.GetLotNumber() == l.m.GetLotNumber() {
			return wrong("labelling.serial", l.m.GetSerial(), "a pack that is not here yet; it is vial "+v.GetId())
		}
	}
	return nil
}

// short is the number that is written on the vial by hand: as given, or where the pack has no serial one made of the record's id that no other vial here has.
func (r Receipt) short(v *chartv1.Vial, known []*chartv1.Vial) (*string, error) {
	taken := func(text string) bool {
		return slices.ContainsFunc(known, func(k *chartv1.Vial) bool {
			return k.GetShortNumber() == text && k.GetDiscarded() == nil && k.GetVoid() == nil
		})
	}
	if r.ShortNumber != "" {
		if taken(r.ShortNumber) {
			return nil, wrong("short_number", r.ShortNumber, "a number that no other vial here has")
		}
		return &r.ShortNumber, nil
	}
	if v.GetLabelling().GetSerial() != "" {
		return nil, nil
	}
	id := strings.ToUpper(strings.ReplaceAll(v.GetId(), "-", ""))
	for n := 4; n < len(id); n++ {
		if text := "V" + id[:n]; !taken(text) {
			return &text, nil
		}
	}
	return nil, wrong("short_number", "", "a number that no other vial here has")
}

// Title names a vial for people: product, content, lot and serial or short number.
func Title(v *chartv1.Vial) string {
	p := v.GetPresentation()
	text := p.GetProduct()
	if a, err := dose.NewAmount(dose.Product(p.GetProduct()), int64(p.GetContentMilliunits())); err == nil {
		text += " " + a.Display()
	}
	if lot := v.GetLabelling().GetLotNumber(); lot != "" {
		text += ", lot " + lot
	}
	switch {
	case v.GetShortNumber() != "":
		text += ", number " + v.GetShortNumber()
	case v.GetLabelling().GetSerial() != "":
		text += ", serial " + v.GetLabelling().GetSerial()
	}
	if v.GetPractice() != nil {
		text = visit.PracticeWord + ": " + text
	}
	return text
}
