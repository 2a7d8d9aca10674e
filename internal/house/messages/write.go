package main

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/types/descriptorpb"
)

const head = `// Written from the schema by "go run ./internal/house/messages"; not to be changed by hand.
//
// These are the messages as their JSON has them. A field that is absent, or has its kind's zero where absence means nothing, is left out, so every
// field is optional. Quantities are decimal strings, 64-bit numbers are strings, bytes are base64, a Timestamp is RFC 3339, an enum is its name.

`

// own is the package that a file must be in to be written.
const own = "needlebook."

// noun is a message or an enum with its place in the schema.
type noun struct {
	full    string // with a dot before it, as fields name it
	short   string // name without its package; nested names run together
	area    string // of the package, such as chart
	comment string
	message *descriptorpb.DescriptorProto
	enum    *descriptorpb.EnumDescriptorProto
	inner   func(field int) string // the comment of a field or value
}

// write is the TypeScript of the files' messages and enums, in the order of the files.
func write(files []*descriptorpb.FileDescriptorProto) ([]byte, error) {
	var all []noun
	for _, f := range files {
		if strings.HasPrefix(f.GetPackage(), own) {
			all = append(all, nounsOf(f)...)
		}
	}
	names := namesOf(all)
	var out bytes.Buffer
	out.WriteString(head)
	for _, n := range all {
		if err := n.write(&out, names); err != nil {
			return nil, fmt.Errorf("%s: %w", n.full, err)
		}
	}
	return append(bytes.TrimRight(out.Bytes(), "\n"), '\n'), nil
}

// namesOf gives every noun a name of its own: its short one, or with its area before it where several packages have that.
func namesOf(all []noun) map[string]string {
	count := map[string]int{}
	for _, n := range all {
		count[n.short]++
	}
	names := map[string]string{}
	for _, n := range all {
		names[n.full] = n.short
		if count[n.short] > 1 {
			names[n.full] = strings.ToUpper(n.area[:1]) + n.area[1:] + n.short
		}
	}
	return names
}

// Field numbers of descriptor.proto, of which the paths of comments are made.
const (
	messagesOfFile, enumsOfFile                        = 4, 5
	fieldsOfMessage, messagesOfMessage, enumsOfMessage = 2, 3, 4
	valuesOfEnum                                       = 2
)

func nounsOf(f *descriptorpb.FileDescriptorProto) []noun {
	r := reader{comments: map[string]string{}, area: strings.Split(f.GetPackage(), ".")[1]}
	for _, l := range f.GetSourceCodeInfo().GetLocation() {
		r.comments[fmt.Sprint(l.GetPath())] = strings.TrimSpace(l.GetLeadingComments())
	}
	for i, m := range f.GetMessageType() {
		r.message(m, []int32{messagesOfFile, int32(i)}, "."+f.GetPackage(), "")
	}
	for i, e := range f.GetEnumType() {
		r.enum(e, []int32{enumsOfFile, int32(i)}, "."+f.GetPackage(), "")
	}
	return r.all
}

// reader collects the nouns of one file.
type reader struct {
	comments map[string]string
	area     string
	all      []noun
}

func (r *reader) inner(path []int32, of int32) func(int) string {
	return func(i int) string { return r.comments[fmt.Sprint(append(slices.Clone(path), of, int32(i)))] }
}

func (r *reader) message(m *descriptorpb.DescriptorProto, path []int32, outer, prefix string) {
	n := noun{
		full: outer + "." + m.GetName(), short: prefix + m.GetName(), area: r.area, comment: r.comments[fmt.Sprint(path)], message: m,
		inner: r.inner(path, fieldsOfMessage),
	}
	if m.GetOptions().GetMapEntry() {
		r.all = append(r.all, n)
		return
	}
	r.all = append(r.all, n)
	for i, x := range m.GetNestedType() {
		r.message(x, append(slices.Clone(path), messagesOfMessage, int32(i)), n.full, n.short)
	}
	for i, x := range m.GetEnumType() {
		r.enum(x, append(slices.Clone(path), enumsOfMessage, int32(i)), n.full, n.short)
	}
}

func (r *reader) enum(e *descriptorpb.EnumDescriptorProto, path []int32, outer, prefix string) {
	r.all = append(r.all, noun{
		full: outer + "." + e.GetName(), short: prefix + e.GetName(), area: r.area, comment: r.comments[fmt.Sprint(path)], enum: e,
		inner: r.inner(path, valuesOfEnum),
	})
}

func (n noun) write(out *bytes.Buffer, names map[string]string) error {
	switch {
	case n.enum != nil:
		n.writeEnum(out, names)
	case n.message.GetOptions().GetMapEntry():
		return n.writeMap(out, names)
	default:
		return n.writeMessage(out, names)
	}
	return nil
}

func (n noun) writeEnum(out *bytes.Buffer, names map[string]string) {
	comment(out, "", n.comment)
	fmt.Fprintf(out, "export type %s =", names[n.full])
	for i, v := range n.enum.GetValue() {
		out.WriteString("\n")
		comment(out, "  ", n.inner(i))
		fmt.Fprintf(out, "  | %q", v.GetName())
	}
	out.WriteString(";\n\n")
}

// writeMap writes a map's entry as the type that a map field has.
func (n noun) writeMap(out *bytes.Buffer, names map[string]string) error {
	value, err := typeOf(n.message.GetField()[1], names)
	fmt.Fprintf(out, "export type %s = { [key: string]: %s };\n\n", names[n.full], value)
	return err
}

func (n noun) writeMessage(out *bytes.Buffer, names map[string]string) error {
	comment(out, "", n.comment)
	fmt.Fprintf(out, "export interface %s {\n", names[n.full])
	for i, f := range n.message.GetField() {
		comment(out, "  ", n.inner(i))
		kind, err := typeOf(f, names)
		if err != nil {
			return err
		}
		if f.GetLabel() == descriptorpb.FieldDescriptorProto_LABEL_REPEATED && !n.isMap(f) {
			kind += "[]"
		}
		fmt.Fprintf(out, "  %s?: %s;\n", f.GetName(), kind)
	}
	out.WriteString("}\n\n")
	return nil
}

// isMap reports whether a repeated field is a map: its entry is nested in the message and says so.
func (n noun) isMap(f *descriptorpb.FieldDescriptorProto) bool {
	return slices.ContainsFunc(n.message.GetNestedType(), func(m *descriptorpb.DescriptorProto) bool {
		return m.GetOptions().GetMapEntry() && n.full+"."+m.GetName() == f.GetTypeName()
	})
}

// typeOf is the type that a field's JSON has, without its being a list.
func typeOf(f *descriptorpb.FieldDescriptorProto, names map[string]string) (string, error) {
	switch f.GetType() {
	case descriptorpb.FieldDescriptorProto_TYPE_MESSAGE, descriptorpb.FieldDescriptorProto_TYPE_ENUM:
		if name, ok := names[f.GetTypeName()]; ok {
			return name, nil
		}
		if known, ok := wellKnown()[f.GetTypeName()]; ok {
			return known, nil
		}
		return "", fmt.Errorf("field %s: the JSON of %s is not known here", f.GetName(), f.GetTypeName())
	case descriptorpb.FieldDescriptorProto_TYPE_BOOL:
		return "boolean", nil
	case descriptorpb.FieldDescriptorProto_TYPE_INT32, descriptorpb.FieldDescriptorProto_TYPE_UINT32, descriptorpb.FieldDescriptorProto_TYPE_SINT32,
		descriptorpb.FieldDescriptorProto_TYPE_FIXED32, descriptorpb.FieldDescriptorProto_TYPE_SFIXED32:
		return "number", nil
	case descriptorpb.FieldDescriptorProto_TYPE_DOUBLE, descriptorpb.FieldDescriptorProto_TYPE_FLOAT, descriptorpb.FieldDescriptorProto_TYPE_GROUP:
		return "", fmt.Errorf("field %s: %v has no place in the schema", f.GetName(), f.GetType())
	default: // text, bytes, and 64-bit numbers, which JSON's own numbers cannot hold
		return "string", nil
	}
}

func wellKnown() map[string]string {
	return map[string]string{".google.protobuf.Timestamp": "string", ".google.protobuf.Duration": "string"}
}

func comment(out *bytes.Buffer, indent, text string) {
	if text == "" {
		return
	}
	text = strings.ReplaceAll(text, "*/", "* /")
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = strings.TrimSpace(lines[i])
	}
	if len(lines) == 1 {
		fmt.Fprintf(out, "%s/** %s */\n", indent, lines[0])
		return
	}
	fmt.Fprintf(out, "%s/**\n", indent)
	for _, l := range lines {
		fmt.Fprintf(out, "%s\n", strings.TrimRight(indent+" * "+l, " "))
	}
	fmt.Fprintf(out, "%s */\n", indent)
}
