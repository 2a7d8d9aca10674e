package record

import (
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// Origin is who an edit comes from, as far as its content goes.
type Origin int

// The two origins. Only the server writes the fields that are marked as its own.
const (
	FromDevice Origin = iota
	FromServer
)

// Check holds e, which is valid, against the schema. It returns nil or the first refusal: the kind, element or field that this version does not know
// (SCHEMA_TOO_NEW), a value outside its bounds (INVALID_FIELD), bytes that are not the one form of their value (NOT_CANONICAL), a field that
// only the server sets (OUTPUT_ONLY).
func (s *Schema) Check(e *Edit, from Origin) *fault.Error {
	if !s.Knows(e.Key.Kind) {
		return tooNew("kind", strconv.Itoa(int(e.Key.Kind)))
	}
	for i := range e.Writes {
		if err := s.checkWrite(e.Key.Kind, &e.Writes[i], from); err != nil {
			return err
		}
	}
	return nil
}

func (s *Schema) checkWrite(k Kind, w *Write, from Origin) *fault.Error {
	sh := s.at(k, w.Path)
	if sh == nil {
		return tooNew("path", s.PathText(k, w.Path))
	}
	c := checker{from: from}
	var refusal *fault.Error
	w.each(func(number uint32, value []byte, cleared bool) {
		if refusal == nil {
			refusal = c.register(sh, number, value, cleared)
		}
	})
	if refusal != nil && w.Path != "" {
		inElement := *refusal
		inElement.Field = s.PathText(k, w.Path) + "." + refusal.Field
		return &inElement
	}
	return refusal
}

func tooNew(field, read string) *fault.Error {
	return fault.New(faultv1.Reason_REASON_SCHEMA_TOO_NEW, field, read, "")
}

// checker walks the values of one element; where is the text of the path inside it, for the error.
type checker struct {
	where string
	from  Origin
}

func (c checker) at(name string) string {
	if c.where == "" {
		return name
	}
	return c.where + "." + name
}

func (c checker) refuse(reason faultv1.Reason, f *field, read, want string) *fault.Error {
	return fault.New(reason, c.at(f.name), read, want)
}

func (c checker) invalid(f *field, read, want string) *fault.Error {
	return c.refuse(faultv1.Reason_REASON_INVALID_FIELD, f, read, want)
}

func (c checker) notCanonical(f *field, what string) *fault.Error {
	return c.refuse(faultv1.Reason_REASON_NOT_CANONICAL, f, "", what)
}

func (c checker) register(sh *shape, number uint32, value []byte, cleared bool) *fault.Error {
	f := sh.field(number)
	if f == nil {
		return tooNew(c.at(strconv.Itoa(int(number))), "")
	}
	switch {
	case f.collection != nil:
		return c.invalid(f, "", "writes to its elements, not to the whole collection")
	case f.serverOnly && c.from != FromServer:
		return c.refuse(faultv1.Reason_REASON_OUTPUT_ONLY, f, "", "")
	case cleared:
		return nil
	}
	return c.value(f, value)
}

// value checks one field's value: all its occurrences, tags included.
func (c checker) value(f *field, value []byte) *fault.Error {
	if f.repeated && packable(f.kind) {
		return c.packed(f, value)
	}
	items := uint64(0)
	for rest := value; len(rest) > 0; items++ {
		_, after, err := cutField(rest)
		if err != nil {
			return c.notCanonical(f, err.Error())
		}
		if refusal := c.item(f, rest[:len(rest)-len(after)]); refusal != nil {
			return refusal
		}
		rest = after
	}
	if !f.repeated && items != 1 {
		return c.notCanonical(f, "one value")
	}
	return c.items(f, items)
}

func (c checker) items(f *field, n uint64) *fault.Error {
	if f.repeated && (n < f.rules.minItems || n > f.rules.maxItems) {
		return c.invalid(f, fmt.Sprintf("%d entries", n), fmt.Sprintf("%d to %d entries", f.rules.minItems, f.rules.maxItems))
	}
	return nil
}

func packable(k protoreflect.Kind) bool {
	return k != protoreflect.StringKind && k != protoreflect.BytesKind && k != protoreflect.MessageKind
}

// packed checks a list of numbers, which stands in one length-delimited value.
func (c checker) packed(f *field, value []byte) *fault.Error {
	_, typ, n := protowire.ConsumeTag(value)
	body, m := protowire.ConsumeBytes(value[max(n, 0):])
	if typ != protowire.BytesType || m < 0 || n+m != len(value) || len(body) == 0 {
		return c.notCanonical(f, "a packed list that is not empty")
	}
	items := uint64(0)
	for ; len(body) > 0; items++ {
		size, refusal := c.scalar(f, wireType(f.kind), body)
		if refusal != nil {
			return refusal
		}
		body = body[size:]
	}
	return c.items(f, items)
}

// item checks one tagged value.
func (c checker) item(f *field, tagged []byte) *fault.Error {
	_, typ, n := protowire.ConsumeTag(tagged)
	body := tagged[n:]
	if typ != wireType(f.kind) {
		return c.notCanonical(f, fmt.Sprintf("wire type %d", wireType(f.kind)))
	}
	switch f.kind {
	case protoreflect.StringKind, protoreflect.BytesKind, protoreflect.MessageKind:
		content, _ := protowire.ConsumeBytes(body)
		return c.content(f, content)
	}
	size, refusal := c.scalar(f, typ, body)
	if refusal == nil && size != len(body) {
		return c.notCanonical(f, "one number")
	}
	if refusal == nil && !f.presence && !f.repeated && isZero(body) {
		return c.notCanonical(f, "the field cleared rather than zero")
	}
	return refusal
}

func isZero(b []byte) bool {
	for _, x := range b {
		if x != 0 {
			return false
		}
	}
	return true
}

func wireType(k protoreflect.Kind) protowire.Type {
	switch k {
	case protoreflect.StringKind, protoreflect.BytesKind, protoreflect.MessageKind:
		return protowire.BytesType
	case protoreflect.Fixed32Kind, protoreflect.Sfixed32Kind, protoreflect.FloatKind:
		return protowire.Fixed32Type
	case protoreflect.Fixed64Kind, protoreflect.Sfixed64Kind, protoreflect.DoubleKind:
		return protowire.Fixed64Type
	}
	return protowire.VarintType
}

// content checks a string, bytes or a message.
func (c checker) content(f *field, b []byte) *fault.Error {
	if !f.presence && !f.repeated && len(b) == 0 {
		return c.notCanonical(f, "the field cleared rather than empty")
	}
	switch f.kind {
	case protoreflect.MessageKind:
		return checker{c.at(f.name), c.from}.message(f.message, b)
	case protoreflect.StringKind:
		return c.text(f, b)
	}
	return c.length(f, uint64(len(b)), "bytes")
}

func (c checker) length(f *field, n uint64, unit string) *fault.Error {
	if f.rules.hasLength && (n < f.rules.minLen || n > f.rules.maxLen) {
		return c.invalid(f, fmt.Sprintf("%d %s", n, unit), fmt.Sprintf("%d to %d %s", f.rules.minLen, f.rules.maxLen, unit))
	}
	return nil
}

func (c checker) text(f *field, b []byte) *fault.Error {
	s := string(b)
	if !plain(s) {
		if !utf8.ValidString(s) {
			return c.invalid(f, "", "text in UTF-8")
		}
		if i := strings.IndexFunc(s, hiddenRune); i >= 0 {
			return c.invalid(f, "", "text without control characters or characters that hide or turn text")
		}
	}
	if refusal := c.length(f, uint64(utf8.RuneCountInString(s)), "characters"); refusal != nil {
		return refusal
	}
	if f.rules.uuid {
		if _, ok := parseID(s); !ok {
			return c.invalid(f, fault.Withheld(s), "a UUID in lower case")
		}
	}
	if f.rules.pattern != nil && !f.rules.pattern.MatchString(s) {
		return c.invalid(f, fault.Withheld(s), "text of the form "+f.rules.pattern.String())
	}
	return nil
}

// plain reports whether s is printable ASCII, as most texts are.
func plain(s string) bool {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return false
		}
	}
	return true
}

// hiddenRune reports characters that no one types into a record on purpose and that mislead its reader: controls other than newline and tab, marks
// that turn the direction of writing, and characters without width that are not part of any script.
func hiddenRune(r rune) bool {
	switch {
	case r == '\n' || r == '\t':
		return false
	case unicode.IsControl(r):
		return true
	case r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069':
		return true
	}
	return r == '\u200b' || r == '\u2060' || r == '\ufeff'
}

// scalar checks one number without its tag and returns its size.
func (c checker) scalar(f *field, typ protowire.Type, b []byte) (int, *fault.Error) {
	n, size, ok := readNumber(f.kind, typ, b)
	if !ok {
		return 0, c.notCanonical(f, "a number of kind "+f.kind.String()+" in its shortest form")
	}
	if f.enum != nil && f.enum.Values().ByNumber(protoreflect.EnumNumber(int32(n.bits))) == nil {
		return size, tooNew(c.at(f.name), n.String())
	}
	if f.enum != nil && n.bits == 0 {
		return size, c.invalid(f, n.String(), "one of the values stated; zero is none")
	}
	if f.rules.hasRange && (n.less(f.rules.low) || f.rules.high.less(n)) {
		return size, c.invalid(f, n.String(), f.rules.low.String()+" to "+f.rules.high.String())
	}
	return size, nil
}

// readNumber reads a number of kind k from the front of b: ok is false when it is not in shortest form or does not fit its kind.
func readNumber(k protoreflect.Kind, typ protowire.Type, b []byte) (n number, size int, ok bool) {
	switch typ {
	case protowire.Fixed32Type:
		if len(b) < 4 {
			return number{}, 0, false
		}
		x := binary.LittleEndian.Uint32(b)
		if k == protoreflect.Sfixed32Kind {
			return signed(int64(int32(x))), 4, true
		}
		return number{bits: uint64(x)}, 4, true
	case protowire.Fixed64Type:
		if len(b) < 8 {
			return number{}, 0, false
		}
		x := binary.LittleEndian.Uint64(b)
		if k == protoreflect.Sfixed64Kind {
			return signed(int64(x)), 8, true
		}
		return number{bits: x}, 8, true
	}
	x, size := protowire.ConsumeVarint(b)
	if size < 0 || size > 1 && b[size-1] == 0 {
		return number{}, 0, false
	}
	n, ok = varintNumber(k, x)
	return n, size, ok
}

func varintNumber(k protoreflect.Kind, x uint64) (number, bool) {
	switch k {
	case protoreflect.BoolKind:
		return number{bits: x}, x <= 1
	case protoreflect.Uint32Kind:
		return number{bits: x}, x <= math.MaxUint32
	case protoreflect.Uint64Kind:
		return number{bits: x}, true
	case protoreflect.Int32Kind, protoreflect.EnumKind:
		return signed(int64(x)), int64(x) == int64(int32(x))
	case protoreflect.Int64Kind:
		return signed(int64(x)), true
	case protoreflect.Sint32Kind:
		z := protowire.DecodeZigZag(x)
		return signed(z), z == int64(int32(z))
	case protoreflect.Sint64Kind:
		return signed(protowire.DecodeZigZag(x)), true
	}
	return number{}, false
}

// message checks a message that is part of a register: canonical, known, within bounds, with what is required.
func (c checker) message(sh *shape, b []byte) *fault.Error {
	whole, last, oneofs := b, uint32(0), uint64(0)
	var present [4]uint64 // by place in sh.fields; a register's message has fewer than 256 fields
	for len(b) > 0 {
		number, value, rest, err := cutRegister(b)
		if err != nil || number <= last {
			return fault.New(faultv1.Reason_REASON_NOT_CANONICAL, c.where, "", "fields in ascending order")
		}
		f := sh.field(number)
		if f == nil {
			return tooNew(c.at(strconv.Itoa(int(number))), "")
		}
		if refusal := c.value(f, value); refusal != nil {
			return refusal
		}
		if f.oneof > 0 {
			if oneofs&(1<<f.oneof) != 0 {
				return c.notCanonical(f, "one alternative of several")
			}
			oneofs |= 1 << f.oneof
		}
		i := sh.index(f)
		present[i/64] |= 1 << (i % 64)
		last, b = number, rest
	}
	for i := range sh.fields {
		if f := &sh.fields[i]; f.rules.required && present[i/64]&(1<<(i%64)) == 0 {
			return c.invalid(f, "", "a value")
		}
	}
	if sh.form == nil {
		return nil
	}
	if want := sh.form(whole); want != "" {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, c.where, "", want) // a date may be somebody's birth, so it is not told
	}
	return nil
}
