package service

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"
)

// messages are all messages of the schema.
func messages() (out []protoreflect.MessageDescriptor) {
	var add func(all protoreflect.MessageDescriptors)
	add = func(all protoreflect.MessageDescriptors) {
		for i := range all.Len() {
			if !all.Get(i).IsMapEntry() {
				out = append(out, all.Get(i))
			}
			add(all.Get(i).Messages())
		}
	}
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		if strings.HasPrefix(string(f.Package()), "needlebook.") {
			add(f.Messages())
		}
		return true
	})
	return out
}

// ruleKinds are the kinds of rule that are set in a message of rules, such as string.max_len, with their values.
func ruleKinds(prefix string, rules protoreflect.Message, out map[string][]protoreflect.Value) {
	rules.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		name := prefix + fd.TextName()
		if fd.Message() != nil && !fd.IsList() {
			ruleKinds(name+".", v.Message(), out)
			return true
		}
		out[name] = append(out[name], v)
		return true
	})
}

// TestEveryRuleHasItsWords walks every rule of every field: each value of it must stand in what the field wants, and no kind of rule is unknown.
func TestEveryRuleHasItsWords(t *testing.T) {
	kinds := map[string]int{}
	for _, md := range messages() {
		for i := range md.Fields().Len() {
			fd := md.Fields().Get(i)
			rules := rulesOf(fd)
			if rules == nil {
				continue
			}
			found, want := map[string][]protoreflect.Value{}, wantOf(fd)
			ruleKinds("", rules.ProtoReflect(), found)
			for kind, values := range found {
				kinds[kind]++
				for _, v := range values {
					if why := missing(strings.TrimPrefix(kind, "repeated.items."), v, want); why != "" {
						t.Errorf("%s.%s: %s = %v, wants %q: %s", md.FullName(), fd.Name(), kind, v, want, why)
					}
				}
			}
		}
	}
	t.Logf("%d kinds of rule: %v", len(kinds), slices.Sorted(maps.Keys(kinds)))
	if len(kinds) < 15 {
		t.Errorf("only %d kinds of rule were found", len(kinds))
	}
}

// missing says why what a field wants does not tell a rule, or nothing.
func missing(kind string, v protoreflect.Value, want string) string {
	says := func(text string) string {
		if strings.Contains(want, text) {
			return ""
		}
		return fmt.Sprintf("does not say %q", text)
	}
	switch kind {
	case "required": // said by the refusal itself
		return ""
	case "string.uuid":
		return says("a UUID")
	case "string.pattern":
		if patternWords()[v.String()] == "" {
			return "the pattern has no words in patternWords"
		}
		return says(patternWords()[v.String()])
	case "string.min_len", "bytes.min_len", "repeated.min_items":
		if v.Uint() == 0 {
			return ""
		}
		return says(fmt.Sprint(v.Uint()))
	case "string.max_len", "bytes.max_len", "bytes.len", "repeated.max_items", "int32.gte", "int32.lte", "int64.gte", "int64.lte", "uint32.gte", "uint32.lte",
		"uint64.gte", "uint64.lte":
		return says(fmt.Sprint(v.Interface()))
	case "int32.gt", "int64.gt":
		return says(fmt.Sprint(v.Int() + 1))
	case "uint32.gt", "uint64.gt":
		return says(fmt.Sprint(v.Uint() + 1))
	case "enum.defined_only":
		if strings.Contains(want, "one of ") || strings.Contains(want, "a value of ") {
			return ""
		}
	case "enum.not_in":
		if !strings.Contains(want, "_UNSPECIFIED") {
			return ""
		}
	}
	return "no words for this kind of rule"
}

// odd are values of a kind that most rules refuse.
func odd(fd protoreflect.FieldDescriptor) []protoreflect.Value {
	switch fd.Kind() {
	case protoreflect.StringKind:
		return []protoreflect.Value{protoreflect.ValueOfString("Zora ~"), protoreflect.ValueOfString(strings.Repeat("Zora~", 60000)), protoreflect.ValueOfString("")}
	case protoreflect.BytesKind:
		return []protoreflect.Value{protoreflect.ValueOfBytes([]byte{1}), protoreflect.ValueOfBytes(make([]byte, 2<<20)), protoreflect.ValueOfBytes(nil)}
	case protoreflect.EnumKind:
		return []protoreflect.Value{protoreflect.ValueOfEnum(0), protoreflect.ValueOfEnum(9999)}
	case protoreflect.Int32Kind:
		return []protoreflect.Value{protoreflect.ValueOfInt32(-1 << 31), protoreflect.ValueOfInt32(1<<31 - 1)}
	case protoreflect.Int64Kind:
		return []protoreflect.Value{protoreflect.ValueOfInt64(-1 << 63), protoreflect.ValueOfInt64(1<<63 - 1)}
	case protoreflect.Uint32Kind:
		return []protoreflect.Value{protoreflect.ValueOfUint32(0), protoreflect.ValueOfUint32(1<<32 - 1)}
	case protoreflect.Uint64Kind:
		return []protoreflect.Value{protoreflect.ValueOfUint64(0), protoreflect.ValueOfUint64(1<<64 - 1)}
	}
	return nil
}

// TestEveryViolationIsPlain sets values that the rules refuse, in every field of every message, and reads each refusal that comes of it.
func TestEveryViolationIsPlain(t *testing.T) {
	validator, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	ids, refusals := map[string]int{}, 0
	try := func(m proto.Message) {
		var invalid *protovalidate.ValidationError
		if err := validator.Validate(m); err == nil {
			return
		} else if !errors.As(err, &invalid) {
			t.Fatalf("%s: %v", m.ProtoReflect().Descriptor().FullName(), err)
		}
		for _, v := range invalid.Violations {
			e := refusalOf(m.ProtoReflect().Descriptor(), v)
			ids[v.Proto.GetRuleId()]++
			refusals++
			ownWords := v.FieldDescriptor == nil && !strings.HasPrefix(v.Proto.GetRuleId(), "required")
			if text := e.Error(); e.Want == "" || !ownWords && strings.Contains(text, v.Proto.GetMessage()) || strings.Contains(text, "Zora") && !slices.Contains(
				shownTexts(), string(v.FieldDescriptor.Name())) || len(text) > 900 {
				t.Errorf("%s: %s", v.Proto.GetRuleId(), text)
			}
			if e.Field == "" && !ownWords {
				t.Errorf("%s: no field: %s", v.Proto.GetRuleId(), e)
			}
		}
	}
	for _, md := range messages() {
		try(dynamicpb.NewMessage(md))
		for i := range md.Fields().Len() {
			fd := md.Fields().Get(i)
			for n, v := range odd(fd) {
				m := dynamicpb.NewMessage(md)
				if fd.IsList() {
					list := m.Mutable(fd).List()
					count := 3
					if n == 0 {
						count = 2049 // more than any list may have
					}
					for range count {
						list.Append(v)
					}
				} else {
					m.Set(fd, v)
				}
				try(m)
			}
		}
	}
	t.Logf("%d refusals of %d kinds: %v", refusals, len(ids), slices.Sorted(maps.Keys(ids)))
	if len(ids) < 15 {
		t.Errorf("only %d kinds of rule were met", len(ids))
	}
}
