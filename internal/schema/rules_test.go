package schema_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// deepest is how many elements may stand inside each other, the outermost included.
const deepest = 3

// coreRules is the part of the annotation language that the core checks, by the type of the value. A rule outside it would hold on the server alone.
func coreRules() map[protoreflect.Name][]protoreflect.Name {
	number := []protoreflect.Name{"gt", "gte", "lt", "lte"}
	return map[protoreflect.Name][]protoreflect.Name{
		"string":   {"min_len", "max_len", "len", "pattern", "uuid"},
		"bytes":    {"min_len", "max_len", "len"},
		"int32":    number,
		"int64":    number,
		"uint32":   number,
		"uint64":   number,
		"enum":     {"defined_only"},
		"repeated": {"min_items", "max_items", "items"},
	}
}

// inspector collects what is wrong with a set of descriptors. Each message is walked once as what it is: a record, an element, a value of a register, a
// part of a request.
type inspector struct {
	faults []string
	walked map[string]bool
	exempt map[protoreflect.FullName]string // fields that need no bound, each with the reason
	used   map[protoreflect.FullName]bool
}

func inspect(files []protoreflect.FileDescriptor, exempt map[protoreflect.FullName]string) *inspector {
	in := &inspector{walked: map[string]bool{}, exempt: exempt, used: map[protoreflect.FullName]bool{}}
	for _, file := range files {
		in.messages(file.Messages())
		for i := range file.Services().Len() {
			in.service(file.Services().Get(i))
		}
	}
	slices.Sort(in.faults)
	return in
}

func (in *inspector) fault(at protoreflect.Descriptor, format string, args ...any) {
	in.faults = append(in.faults, fmt.Sprintf("%s: %s", at.FullName(), fmt.Sprintf(format, args...)))
}

// first reports whether md was not yet walked as what.
func (in *inspector) first(md protoreflect.MessageDescriptor, what string) bool {
	key := what + " " + string(md.FullName())
	seen := in.walked[key]
	in.walked[key] = true
	return !seen
}

func (in *inspector) messages(list protoreflect.MessageDescriptors) {
	for i := range list.Len() {
		md := list.Get(i)
		in.messages(md.Messages())
		for j := range md.Fields().Len() {
			in.anywhere(md.Fields().Get(j))
		}
		if recordKind(md) != optionsv1.RecordKind_RECORD_KIND_UNSPECIFIED {
			if isElement(md) {
				in.fault(md, "is a record and an element")
			}
			in.merged(md, 0)
		}
	}
}

// anywhere holds for every field of every message.
func (in *inspector) anywhere(fd protoreflect.FieldDescriptor) {
	if fd.Kind() == protoreflect.FloatKind || fd.Kind() == protoreflect.DoubleKind {
		in.fault(fd, "is a floating-point number")
	}
	if serverOnly(fd) && recordKind(fd.ContainingMessage()) == 0 && !isElement(fd.ContainingMessage()) {
		in.fault(fd, "is server_only inside a register, which is written whole")
	}
}

// merged walks a record or an element: its fields are an id, registers and collections.
func (in *inspector) merged(md protoreflect.MessageDescriptor, depth int) {
	if depth > deepest {
		in.fault(md, "stands %d elements deep, more than %d", depth, deepest)
		return
	}
	in.id(md)
	in.noOneof(md)
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		if fd.Number() == 1 {
			continue
		}
		in.bounds(fd)
		in.subset(fd)
		switch {
		case fd.IsMap():
			in.fault(fd, "is a map: its entries have no ids to merge by")
		case fd.Kind() != protoreflect.MessageKind:
			if !fd.IsList() && !fd.HasPresence() {
				in.fault(fd, "has no presence: a value of zero and a field that was never written look alike")
			}
		case fd.IsList() && isElement(fd.Message()):
			in.merged(fd.Message(), depth+1)
		case fd.IsList():
			in.fault(fd, "is a list of %s, which is no element", fd.Message().FullName())
		case isElement(fd.Message()):
			in.fault(fd, "holds one element outside a collection")
		default:
			in.register(fd.Message(), nil)
		}
		if rules := fieldRules(fd); rules.GetRequired() {
			in.fault(fd, "is required, but a register is absent until it is written")
		}
	}
}

func (in *inspector) id(md protoreflect.MessageDescriptor) {
	id := md.Fields().ByNumber(1)
	switch {
	case id == nil || id.Name() != "id" || id.Kind() != protoreflect.StringKind || id.IsList() || id.HasPresence():
		in.fault(md, "field 1 is not `string id`")
	case !fieldRules(id).GetString().GetUuid():
		in.fault(id, "is not bound to be a UUID")
	}
}

func (in *inspector) noOneof(md protoreflect.MessageDescriptor) {
	for i := range md.Oneofs().Len() {
		if o := md.Oneofs().Get(i); !o.IsSynthetic() {
			in.fault(o, "is a oneof: concurrent writes of two of its fields could not both be kept")
		}
	}
}

// register walks a message that is written whole; above are the messages that it stands in.
func (in *inspector) register(md protoreflect.MessageDescriptor, above []protoreflect.FullName) {
	if slices.Contains(above, md.FullName()) {
		in.fault(md, "holds itself, so that nothing bounds it")
		return
	}
	if strings.HasPrefix(string(md.FullName()), "google.protobuf.") || !in.first(md, "register") {
		return
	}
	if isElement(md) || recordKind(md) != optionsv1.RecordKind_RECORD_KIND_UNSPECIFIED {
		in.fault(md, "stands inside a register, where nothing merges by id")
	}
	if rules, _ := proto.GetExtension(md.Options(), validate.E_Message).(*validate.MessageRules); rules != nil {
		in.fault(md, "has rules on the message, which the core does not check")
	}
	in.noOneof(md)
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		if fd.IsMap() {
			in.fault(fd, "is a map: its entries have no one order")
		}
		in.bounds(fd)
		in.subset(fd)
		in.zero(fd)
		if fd.Kind() == protoreflect.MessageKind {
			in.register(fd.Message(), append(above, md.FullName()))
		}
	}
}

// subset holds the rules of a field to those that the core checks.
func (in *inspector) subset(fd protoreflect.FieldDescriptor) {
	if rules := fieldRules(fd); rules != nil {
		in.subsetOf(fd, rules)
	}
}

func (in *inspector) subsetOf(fd protoreflect.FieldDescriptor, rules *validate.FieldRules) {
	rules.ProtoReflect().Range(func(group protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		known, ok := coreRules()[group.Name()]
		switch {
		case group.Name() == "required":
		case !ok:
			in.fault(fd, "rule %s is not one that the core checks", group.Name())
		default:
			v.Message().Range(func(rule protoreflect.FieldDescriptor, v protoreflect.Value) bool {
				if !slices.Contains(known, rule.Name()) {
					in.fault(fd, "rule %s.%s is not one that the core checks", group.Name(), rule.Name())
				} else if rule.Name() == "items" {
					in.subsetOf(fd, v.Message().Interface().(*validate.FieldRules))
				}
				return true
			})
		}
		return true
	})
}

// bounds demands that whatever stands in a field has an end: a list, a text, a number, an enum.
func (in *inspector) bounds(fd protoreflect.FieldDescriptor) {
	if _, ok := in.exempt[fd.FullName()]; ok {
		in.used[fd.FullName()] = true
		return
	}
	rules := fieldRules(fd)
	if fd.IsList() {
		if !rules.GetRepeated().HasMaxItems() {
			in.fault(fd, "is a list without max_items")
		}
		rules = rules.GetRepeated().GetItems()
	}
	if missing := unbounded(fd.Kind(), rules); missing != "" {
		in.fault(fd, "has no %s", missing)
	}
}

// unbounded names the bound that rules lack for a value of this kind; empty when they have it.
func unbounded(kind protoreflect.Kind, rules *validate.FieldRules) string {
	var group protoreflect.Message
	switch kind {
	case protoreflect.BoolKind, protoreflect.MessageKind, protoreflect.FloatKind, protoreflect.DoubleKind:
		return ""
	case protoreflect.StringKind:
		if s := rules.GetString(); !s.GetUuid() && s.GetMaxLen() == 0 && s.GetLen() == 0 {
			return "max_len"
		}
		return ""
	case protoreflect.BytesKind:
		if b := rules.GetBytes(); b.GetMaxLen() == 0 && b.GetLen() == 0 {
			return "max_len"
		}
		return ""
	case protoreflect.EnumKind:
		if !rules.GetEnum().GetDefinedOnly() {
			return "defined_only"
		}
		return ""
	case protoreflect.Int32Kind:
		group = rules.GetInt32().ProtoReflect()
	case protoreflect.Int64Kind:
		group = rules.GetInt64().ProtoReflect()
	case protoreflect.Uint32Kind:
		group = rules.GetUint32().ProtoReflect()
	case protoreflect.Uint64Kind:
		group = rules.GetUint64().ProtoReflect()
	default:
		return fmt.Sprintf("kind that the schema uses, but %s", kind)
	}
	return noRange(group)
}

// noRange names the missing end of a number's range. An unsigned number begins at zero.
func noRange(rules protoreflect.Message) string {
	has := func(a, b protoreflect.Name) bool {
		fields := rules.Descriptor().Fields()
		return rules.Has(fields.ByName(a)) || rules.Has(fields.ByName(b))
	}
	switch {
	case !has("lt", "lte"):
		return "upper bound"
	case !strings.HasPrefix(string(rules.Descriptor().Name()), "UInt") && !has("gt", "gte"):
		return "lower bound"
	}
	return ""
}

// zero demands that a field of a register that may not be zero says so: what is zero is not on the wire, and the core checks only what is there.
func (in *inspector) zero(fd protoreflect.FieldDescriptor) {
	rules := fieldRules(fd)
	if fd.HasPresence() || rules.GetRequired() {
		return
	}
	if fd.IsList() {
		if rules.GetRepeated().GetMinItems() > 0 {
			in.fault(fd, "may not be empty and is not required")
		}
		return
	}
	if refusesZero(fd.Kind(), rules) {
		in.fault(fd, "may not be zero and is neither required nor optional")
	}
}

func refusesZero(kind protoreflect.Kind, rules *validate.FieldRules) bool {
	switch kind {
	case protoreflect.EnumKind:
		return true
	case protoreflect.StringKind:
		s := rules.GetString()
		return s.GetUuid() || s.GetMinLen() > 0 || s.GetLen() > 0 || !regexp.MustCompile(s.GetPattern()).MatchString("")
	case protoreflect.BytesKind:
		return rules.GetBytes().GetMinLen() > 0 || rules.GetBytes().GetLen() > 0
	case protoreflect.Int32Kind:
		return rules.GetInt32().GetGte() > 0 || rules.GetInt32().HasGt() && rules.GetInt32().GetGt() >= 0
	case protoreflect.Int64Kind:
		return rules.GetInt64().GetGte() > 0 || rules.GetInt64().HasGt() && rules.GetInt64().GetGt() >= 0
	case protoreflect.Uint32Kind:
		return rules.GetUint32().GetGte() > 0 || rules.GetUint32().HasGt()
	case protoreflect.Uint64Kind:
		return rules.GetUint64().GetGte() > 0 || rules.GetUint64().HasGt()
	}
	return false
}

func fieldRules(fd protoreflect.FieldDescriptor) *validate.FieldRules {
	rules, _ := proto.GetExtension(fd.Options(), validate.E_Field).(*validate.FieldRules)
	return rules
}

func recordKind(md protoreflect.MessageDescriptor) optionsv1.RecordKind {
	kind, _ := proto.GetExtension(md.Options(), optionsv1.E_Record).(optionsv1.RecordKind)
	return kind
}

func isElement(md protoreflect.MessageDescriptor) bool {
	element, _ := proto.GetExtension(md.Options(), optionsv1.E_Element).(bool)
	return element
}

func serverOnly(fd protoreflect.FieldDescriptor) bool {
	only, _ := proto.GetExtension(fd.Options(), optionsv1.E_ServerOnly).(bool)
	return only
}
