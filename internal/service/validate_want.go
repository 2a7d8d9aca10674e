package service

import (
	"fmt"
	"slices"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// rulesOf are the bounds that the schema gives a field; nil for none.
func rulesOf(fd protoreflect.FieldDescriptor) *validate.FieldRules {
	rules, _ := proto.GetExtension(fd.Options(), validate.E_Field).(*validate.FieldRules)
	return rules
}

// wantOf says what a field takes, in a phrase: its kind and every bound that the schema gives it.
func wantOf(fd protoreflect.FieldDescriptor) string {
	rules := rulesOf(fd)
	if !fd.IsList() {
		return wantOfValue(fd, rules)
	}
	of := rules.GetRepeated()
	count := span(uint64(of.GetMinItems()), of.HasMinItems(), of.GetMaxItems(), of.HasMaxItems())
	return strings.TrimSpace("a list of "+count) + ", each " + wantOfValue(fd, of.GetItems())
}

// wantOfValue is what one value of a field takes; rules are the field's, or those of its items.
func wantOfValue(fd protoreflect.FieldDescriptor, rules *validate.FieldRules) string {
	switch fd.Kind() {
	case protoreflect.BoolKind:
		return "true or false"
	case protoreflect.StringKind:
		return wantOfText(fd, rules.GetString())
	case protoreflect.BytesKind:
		return wantOfBytes(rules.GetBytes())
	case protoreflect.EnumKind:
		return wantOfEnum(fd.Enum(), rules.GetRequired() || slices.Contains(rules.GetEnum().GetNotIn(), 0))
	case protoreflect.MessageKind, protoreflect.GroupKind:
		if fd.Message().FullName() == "google.protobuf.Timestamp" {
			return "a time such as 2026-02-28T09:30:00Z"
		}
		return "an object, " + string(fd.Message().Name())
	case protoreflect.FloatKind, protoreflect.DoubleKind:
		return "a number"
	}
	return wantOfInteger(fd.Kind(), rules)
}

// patternWords say a pattern of the schema in words. A test holds them against the schema: every pattern in it has its words.
func patternWords() map[string]string {
	return map[string]string{
		"^[a-z][a-z0-9_]*$":                   "small letters, digits and _, a letter first",
		"^[a-z]+[A-G]?$":                      "a nonproprietary name such as onabotulinumtoxinA",
		"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$":    "a language tag of BCP 47 such as en or pt-BR",
		"^[A-Z][A-Z0-9_]*$":                   "capital letters, digits and _, a letter first",
		"^[A-Z]{2}(-[A-Z0-9]{1,3})?$":         "a country or part of one, of ISO 3166, such as GB or GB-SCT",
		"^([A-Z]{2})?$":                       "a country of ISO 3166 such as GB, or empty",
		"^([A-Z]{2,10})?$":                    "2 to 10 capital letters, or empty",
		"^[A-Z0-9-]{1,12}$":                   "1 to 12 capital letters, digits and -",
		"^[0-9]{14}$":                         "14 digits",
		"^([0-9]{14})?$":                      "14 digits, or empty",
		"^[0-9a-f]{64}$":                      "64 hexadecimal digits in small letters",
		"^image/(jpeg|png|webp)$":             "image/jpeg, image/png or image/webp",
		"^[a-z0-9][a-z0-9._@-]{1,63}$":        "2 to 64 small letters, digits and . _ @ -, a letter or a digit first",
		"^(?s:.{15,})$":                       "at least 15 characters",
		"^[0-9]+(\\.[0-9]+)?$":                "a decimal such as 2.5",
		"^([A-Z]{2}(-[A-Z0-9]{1,3})?)?$":      "a country or part of one, of ISO 3166, such as GB or GB-SCT, or empty",
		"^([a-z]{2,3}(-[A-Za-z0-9]{2,8})*)?$": "a language tag of BCP 47 such as en or pt-BR, or empty",
		"^[a-z][a-z0-9_]*(\\[[0-9a-f-]{36}\\]\\.[a-z][a-z0-9_]*){0,3}(\\[[0-9a-f-]{36}\\])?$": "a path such as name or injections[ID].dose, " +
			"in which ID is the element's UUID",
	}
}

func wantOfText(fd protoreflect.FieldDescriptor, rules *validate.StringRules) string {
	what := "text"
	if isFigure(fd) {
		what = `a decimal as text, such as "2.5"`
	}
	switch pattern := rules.GetPattern(); {
	case rules.GetUuid():
		what = "a UUID"
	case pattern != "":
		if what = patternWords()[pattern]; what == "" {
			what = "text in the form " + pattern
		}
	}
	least, most := rules.GetMinLen(), rules.GetMaxLen()
	if length := span(least, least > 0, most, rules.HasMaxLen()); length != "" {
		what += ", " + length + " characters"
	}
	return what
}

func wantOfBytes(rules *validate.BytesRules) string {
	if rules.HasLen() {
		return fmt.Sprintf("%d bytes in base64", rules.GetLen())
	}
	return strings.TrimSpace(span(rules.GetMinLen(), rules.GetMinLen() > 0, rules.GetMaxLen(), rules.HasMaxLen()) + " bytes in base64")
}

// mostNames bounds how many values of an enum an error lists.
const mostNames = 12

func wantOfEnum(ed protoreflect.EnumDescriptor, notZero bool) string {
	var names []string
	for i := range ed.Values().Len() {
		if v := ed.Values().Get(i); v.Number() != 0 || !notZero {
			names = append(names, string(v.Name()))
		}
	}
	if len(names) > mostNames {
		return fmt.Sprintf("a value of %s such as %s", ed.Name(), names[len(names)-1])
	}
	return "one of " + strings.Join(names, ", ")
}

// span says a range of counts: "1 to 64", "at least 1", "at most 64", or nothing.
func span(least uint64, hasLeast bool, most uint64, hasMost bool) string {
	switch {
	case hasLeast && hasMost && least == most:
		return fmt.Sprint(most)
	case hasLeast && hasMost:
		return fmt.Sprintf("%d to %d", least, most)
	case hasMost:
		return fmt.Sprintf("at most %d", most)
	case hasLeast:
		return fmt.Sprintf("at least %d", least)
	}
	return ""
}

// ranged are the rules of every kind of integer.
type ranged[T int32 | int64 | uint32 | uint64] interface {
	HasGt() bool
	GetGt() T
	HasGte() bool
	GetGte() T
	HasLt() bool
	GetLt() T
	HasLte() bool
	GetLte() T
}

func wantOfInteger(kind protoreflect.Kind, rules *validate.FieldRules) string {
	switch kind {
	case protoreflect.Int32Kind:
		return wantInRange[int32](rules.GetInt32(), -1<<31, 1<<31-1)
	case protoreflect.Int64Kind:
		return wantInRange[int64](rules.GetInt64(), -1<<63, 1<<63-1)
	case protoreflect.Uint32Kind:
		return wantInRange[uint32](rules.GetUint32(), 0, 1<<32-1)
	case protoreflect.Uint64Kind:
		return wantInRange[uint64](rules.GetUint64(), 0, 1<<64-1)
	}
	return "a whole number"
}

func wantInRange[T int32 | int64 | uint32 | uint64](r ranged[T], least, most T) string {
	switch {
	case r.HasGte():
		least = r.GetGte()
	case r.HasGt():
		least = r.GetGt() + 1
	}
	switch {
	case r.HasLte():
		most = r.GetLte()
	case r.HasLt():
		most = r.GetLt() - 1
	}
	return fmt.Sprintf("a whole number from %d to %d", least, most)
}
