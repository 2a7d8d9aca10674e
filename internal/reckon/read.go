package reckon

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
)

const (
	badQuantity = faultv1.Reason_REASON_BAD_QUANTITY
	badField    = faultv1.Reason_REASON_INVALID_FIELD
	noProduct   = faultv1.Reason_REASON_UNKNOWN_PRODUCT
	noReckoning = faultv1.Reason_REASON_CANNOT_RECKON
)

// reader turns the texts of a request into quantities and collects what it refuses, so that one answer names every field at fault.
type reader struct {
	edition *formulary.Edition
	refused fault.List
}

func (r *reader) refuse(reason faultv1.Reason, field, read, want string) {
	r.refused = append(r.refused, fault.New(reason, field, read, want))
}

// product is the one place where a product comes in from outside.
func (r *reader) product(name string) dose.Product { return r.namedProduct("product", name) }

func (r *reader) namedProduct(field, name string) dose.Product {
	product, err := dose.ParseProduct(name)
	if err != nil {
		r.refuse(badField, field, name, "a nonproprietary name, such as onabotulinumtoxinA")
		return ""
	}
	if _, known := r.edition.Product(name); !known {
		r.refuse(noProduct, field, name, "one of "+strings.Join(productNames(r.edition), ", "))
		return ""
	}
	return product
}

func productNames(e *formulary.Edition) []string {
	var names []string
	for _, p := range e.Products() {
		names = append(names, p.GetName())
	}
	return names
}

// amount reads units. Where the product was refused it still reads the number, as of a product that is never answered.
func (r *reader) amount(field string, product dose.Product, text string) dose.Amount {
	if product == "" {
		product = "unknown"
	}
	amount, err := dose.ParseAmount(product, text)
	if err != nil {
		r.refuse(badQuantity, field, text, "a decimal of units, 0 to 100000, such as 2.5, with at most 3 decimals"+because(err))
	}
	return amount
}

func (r *reader) volume(field, text string) dose.Volume {
	volume, err := dose.ParseVolume(text)
	if err != nil {
		r.refuse(badQuantity, field, text, "a decimal of mL, 0 to 100, such as 0.0125, with at most 6 decimals"+because(err))
	}
	return volume
}

// optional reads a volume that may be absent, which is otherwise.
func (r *reader) optional(field string, text *string, otherwise dose.Volume) dose.Volume {
	if text == nil {
		return otherwise
	}
	return r.volume(field, *text)
}

// percent reads a limit that may be absent.
func (r *reader) percent(field string, text *string) *dose.Percent {
	if text == nil {
		return nil
	}
	p, err := dose.ParsePercent(*text)
	if err != nil {
		r.refuse(badQuantity, field, *text, "a decimal of per cent, 0 to 1000, such as 12.5, with at most 4 decimals"+because(err))
		return nil
	}
	return &p
}

// moreThanZero refuses a zero; what is no decimal was refused before.
func (r *reader) moreThanZero(field, text string) {
	if text == "0" {
		r.refuse(badQuantity, field, text, "more than zero")
	}
}

// because is the rule that a text broke, to stand at the end of what is wanted.
func because(err error) string {
	var parse *dose.ParseError
	if !errors.As(err, &parse) {
		return ""
	}
	return "; it " + string(parse.Rule)
}

// vial reads content and volume. Exactly one of diluent and liquid must be there, and a volume must be more than zero.
func (r *reader) vial(product dose.Product, v *dosev1.VialContent) dose.Vial {
	if v == nil {
		r.refuse(badField, "vial", "", "the vial's content and its diluent")
		return dose.Vial{}
	}
	vial := dose.Vial{
		Content: r.amount("vial.content_units", product, v.GetContentUnits()),
		Diluent: r.optional("vial.diluent_ml", v.DiluentMl, 0),
		Liquid:  r.optional("vial.liquid_ml", v.LiquidMl, 0),
	}
	switch {
	case v.DiluentMl != nil && v.LiquidMl != nil:
		r.refuse(badField, "vial.liquid_ml", v.GetLiquidMl(), "either diluent_ml or liquid_ml, not both")
	case v.DiluentMl == nil && v.LiquidMl == nil:
		r.refuse(badField, "vial.diluent_ml", "", "the diluent added, or liquid_ml for a ready liquid")
	}
	r.moreThanZero("vial.diluent_ml", v.GetDiluentMl())
	r.moreThanZero("vial.liquid_ml", v.GetLiquidMl())
	if v.Diluent != nil {
		r.word("vial.diluent", v.GetDiluent())
	}
	return vial
}

var wordForm = regexp.MustCompile(`^[a-z][a-z0-9_]{0,63}$`)

// word checks a name of the schema's own, such as a muscle or a kind of diluent.
func (r *reader) word(field, text string) {
	if !wordForm.MatchString(text) {
		r.refuse(badField, field, text, "a name of at most 64 lower-case letters, digits and underscores")
	}
}

// use reads the use that labels must be for.
func (r *reader) use(text *string) string {
	if text == nil {
		return defaultUse
	}
	r.word("use", *text)
	return *text
}

var marketForm = regexp.MustCompile(`^([A-Z]{2,10})?$`)

// choice reads which tables are to be used: they must be those of the edition that reckons.
func (r *reader) choice(c *dosev1.FormularyChoice) (market string) {
	if c.GetEditionId() != "" && c.GetEditionId() != r.edition.ID() {
		r.refuse(badField, "formulary.edition_id", c.GetEditionId(), "the edition in use, or nothing")
	}
	if !marketForm.MatchString(c.GetMarket()) {
		r.refuse(badField, "formulary.market", c.GetMarket(), "a market in capitals, such as US or EU, or nothing")
	}
	return c.GetMarket()
}

func sideOf(s chartv1.Side) (dose.Side, bool) {
	switch s {
	case chartv1.Side_SIDE_RIGHT:
		return dose.SideRight, true
	case chartv1.Side_SIDE_LEFT:
		return dose.SideLeft, true
	case chartv1.Side_SIDE_MIDLINE:
		return dose.SideMidline, true
	default:
		return dose.SideNone, false
	}
}

// side reads a side that may be absent; what is there must be one of the three.
func (r *reader) side(field string, s *chartv1.Side) dose.Side {
	if s == nil {
		return dose.SideNone
	}
	side, ok := sideOf(*s)
	if !ok {
		r.refuse(badField, field, s.String(), "SIDE_RIGHT, SIDE_LEFT, SIDE_MIDLINE or nothing")
	}
	return side
}

// refusal says an error of the arithmetic in the request's own field names. Each pair of rename is how a field
// of internal/dose begins and how the same field of the request does; the first that fits counts.
func refusal(err error, rename [][2]string) error {
	var input *dose.InputError
	if errors.As(err, &input) {
		reason := badField
		switch input.Rule {
		case dose.RulePositive, dose.RuleRange, dose.RuleTotal, dose.RuleGraduations:
			reason = badQuantity
		}
		return fault.New(reason, renamed(input.Field, rename), input.Read, wantOf(input.Rule))
	}
	if errors.Is(err, dose.ErrOverflow) {
		return fault.New(noReckoning, renamed("vial", rename), "", "figures whose exact result can be held")
	}
	return fault.Wrap(faultv1.Reason_REASON_INTERNAL, err)
}

func renamed(field string, rename [][2]string) string {
	for _, pair := range rename {
		if rest, ok := strings.CutPrefix(field, pair[0]); ok {
			return pair[1] + rest
		}
	}
	return field
}

// wantOf says a rule as what is wanted.
func wantOf(rule dose.Rule) string {
	switch rule {
	case dose.RulePositive:
		return "more than zero"
	case dose.RuleGraduations:
		return "a whole number of graduations"
	case dose.RuleRange:
		return "a volume that the other fields allow: a graduation is at most the capacity, and nothing is more than the syringe or 100 mL"
	case dose.RuleTotal:
		return "less: at most 100000 units and 100 mL in all"
	case dose.RuleUnique:
		return "each only once"
	default:
		return fmt.Sprintf("something else: it %s", rule)
	}
}

// mostHeld bounds the records that facts name as having held edits.
const mostHeld = 1000

// readHeld names the records of which an edit is held, each once.
func (r *reader) readHeld(keys []*chartv1.RecordKey) (held []string) {
	if len(keys) > mostHeld {
		r.refuse(badField, "facts.held", strconv.Itoa(len(keys)), "at most 1000 records")
		return nil
	}
	seen := make(map[string]bool, len(keys))
	for i, k := range keys {
		name := k.GetKind().String() + "/" + k.GetRecordId()
		if k.GetRecordId() == "" || seen[name] {
			r.refuse(badField, "facts.held["+strconv.Itoa(i)+"]", k.GetRecordId(), "the kind and the id of a record, each only once")
		}
		seen[name] = true
		held = append(held, name)
	}
	return held
}

func indexed(list string, i int, name string) string {
	return list + "[" + strconv.Itoa(i) + "]." + name
}
