package record

import (
	"fmt"
	"math"
	"regexp"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// rules is the bounds that a field's annotations state, in the small part of the annotation language that records use. Lengths are characters of a
// string, bytes of bytes. The language's own runtime is too large for a tablet; a test holds both to the same verdicts.
type rules struct {
	required    bool
	hasLength   bool
	minLen      uint64
	maxLen      uint64
	hasItems    bool
	minItems    uint64
	maxItems    uint64
	hasRange    bool
	low, high   number
	definedOnly bool
	uuid        bool
	pattern     *regexp.Regexp
}

// number is an integer of any of the kinds that records use: negative ones as int64, the others as uint64.
type number struct {
	negative bool
	bits     uint64
}

func signed(x int64) number { return number{x < 0, uint64(x)} }

func (n number) less(o number) bool {
	if n.negative != o.negative {
		return n.negative
	}
	return n.bits < o.bits
}

// String is the number in decimal.
func (n number) String() string {
	if n.negative {
		return fmt.Sprint(int64(n.bits))
	}
	return fmt.Sprint(n.bits)
}

// next and previous are the neighbours; they saturate at the ends of the range.
func (n number) next() number {
	if n == signed(-1) {
		return number{}
	}
	if n == (number{false, math.MaxUint64}) {
		return n
	}
	return number{n.negative, n.bits + 1}
}

func (n number) previous() number {
	if n == (number{}) {
		return signed(-1)
	}
	if n == signed(math.MinInt64) {
		return n
	}
	return number{n.negative, n.bits - 1}
}

// compileRules reads the annotations of one field. It refuses a rule that it would not check, so that no bound is ever stated in vain.
func compileRules(a *validate.FieldRules) (rules, error) {
	r := rules{low: signed(math.MinInt64), high: number{false, math.MaxUint64}, maxLen: math.MaxUint64, maxItems: math.MaxUint64}
	if a == nil {
		return r, nil
	}
	var err error
	a.ProtoReflect().Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case fd.Name() == "required":
			r.required = v.Bool()
		case fd.Kind() == protoreflect.MessageKind && !fd.IsList():
			err = r.compile(fd.Name(), v.Message())
		default:
			err = fmt.Errorf("rule %s is not one that records use", fd.Name())
		}
		return err == nil
	})
	return r, err
}

func (r *rules) compile(typ protoreflect.Name, m protoreflect.Message) error {
	var err error
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		err = r.rule(typ, fd, v)
		return err == nil
	})
	return err
}

func (r *rules) rule(typ protoreflect.Name, fd protoreflect.FieldDescriptor, v protoreflect.Value) error {
	switch fd.Name() {
	case "gt", "gte", "lt", "lte":
		r.bound(fd, v)
	case "len":
		r.hasLength, r.minLen, r.maxLen = true, v.Uint(), v.Uint()
	case "min_len":
		r.hasLength, r.minLen = true, v.Uint()
	case "max_len":
		r.hasLength, r.maxLen = true, v.Uint()
	case "min_items":
		r.hasItems, r.minItems = true, v.Uint()
	case "max_items":
		r.hasItems, r.maxItems = true, v.Uint()
	case "defined_only":
		r.definedOnly = v.Bool()
	case "uuid":
		r.uuid = v.Bool()
	case "pattern":
		p, err := regexp.Compile(v.String())
		r.pattern = p
		return err
	case "items":
		return r.items(v.Message().Interface().(*validate.FieldRules))
	default:
		return fmt.Errorf("rule %s.%s is not one that records use", typ, fd.Name())
	}
	return nil
}

// items takes the rules of a list's items over; the list's own are kept.
func (r *rules) items(a *validate.FieldRules) error {
	in, err := compileRules(a)
	if err != nil {
		return err
	}
	in.required, in.hasItems, in.minItems, in.maxItems = r.required, r.hasItems, r.minItems, r.maxItems
	*r = in
	return nil
}

func (r *rules) bound(fd protoreflect.FieldDescriptor, v protoreflect.Value) {
	var n number
	switch x := v.Interface().(type) {
	case int32:
		n = signed(int64(x))
	case int64:
		n = signed(x)
	case uint32:
		n = number{bits: uint64(x)}
	case uint64:
		n = number{bits: x}
	}
	r.hasRange = true
	switch fd.Name() {
	case "gt":
		r.low = n.next()
	case "gte":
		r.low = n
	case "lt":
		r.high = n.previous()
	case "lte":
		r.high = n
	}
}
