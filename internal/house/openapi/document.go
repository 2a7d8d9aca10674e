package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

const about = `The calls of a Needlebook server as REST. The same calls are reached as Connect, gRPC and gRPC-Web under their names in the schema; rights, limits ` +
	`and the audit log are the same. Each call that may carry anything of a patient is a POST whose body is the whole request: nothing of a patient is ever ` +
	`in an address. Names are snake_case as in the schema. 64-bit integers are written as text, bytes in base64. A field that a call does not know is ` +
	`refused. Every refusal is a problem (RFC 9457) with a reason; docs/errors.md lists the reasons.`

// builder makes one document.
type builder struct {
	// answered are the messages that an answer may hold. Their schemas must not refuse what the server sends.
	answered map[protoreflect.FullName]bool
	schemas  map[string]object
	failed   error
}

// describe returns the document of services.
func describe(services []protoreflect.ServiceDescriptor) ([]byte, error) {
	b := &builder{answered: map[protoreflect.FullName]bool{}, schemas: map[string]object{}}
	paths, tags := map[string]object{}, []object{}
	for _, s := range services {
		for i := range s.Methods().Len() {
			b.reach(s.Methods().Get(i).Output())
		}
	}
	for _, s := range services {
		tags = append(tags, object{{"name", string(s.Name())}, {"description", comment(s)}})
		for i := range s.Methods().Len() {
			b.operation(paths, s.Methods().Get(i))
		}
	}
	document := object{
		{"openapi", "3.1.0"},
		{"info", object{
			{"title", "Needlebook"}, {"version", "v1"}, {"description", about},
			{"license", object{{"name", "Apache-2.0"}, {"identifier", "Apache-2.0"}}},
		}},
		{"servers", []object{{{"url", "/"}}}},
		{"security", []object{{{"token", []string{}}}}},
		{"tags", tags},
		{"paths", paths},
		{"components", object{
			{"securitySchemes", object{{"token", object{
				{"type", "http"}, {"scheme", "bearer"}, {"bearerFormat", "JWT"},
				{"description", "The access_token of a sign-in; it lasts minutes and is renewed by /v1/tokens:refresh."},
			}}}},
			{"responses", object{{"Refused", object{
				{"description", "The call was refused; nothing was done."},
				{"content", object{{"application/problem+json", object{{"schema", ref("Problem")}}}}},
			}}}},
			{"schemas", b.schemas},
		}},
	}
	b.schemas["Problem"], b.schemas["Violation"] = problem(), violation()
	if b.failed != nil {
		return nil, b.failed
	}
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	err := e.Encode(document)
	return out.Bytes(), err
}

// reach notes every message that a message may hold.
func (b *builder) reach(md protoreflect.MessageDescriptor) {
	if b.answered[md.FullName()] {
		return
	}
	b.answered[md.FullName()] = true
	for i := range md.Fields().Len() {
		if of := md.Fields().Get(i).Message(); of != nil {
			b.reach(of)
		}
	}
}

// operation adds what a method's annotation says of its address; a method without one is not reached by REST.
func (b *builder) operation(paths map[string]object, m protoreflect.MethodDescriptor) {
	rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	if rule == nil {
		return
	}
	text, action := comment(m), actionOf(m)
	o := object{
		{"operationId", string(m.Name())}, {"tags", []string{string(m.Parent().Name())}}, {"summary", firstSentence(text)}, {"description", text},
		{"x-action", action},
	}
	if action == "PUBLIC" {
		o = o.with("security", []object{})
	}
	verb, path := "post", rule.GetPost()
	if rule.GetGet() != "" {
		verb, path = "get", rule.GetGet()
		o = o.with("parameters", b.parameters(m.Input()))
	} else {
		o = o.with("requestBody", object{{"required", true}, {"content", body(b.message(m.Input()))}})
	}
	o = o.with("responses", object{
		{"200", object{{"description", "Done."}, {"content", body(b.message(m.Output()))}}},
		{"default", ref2("responses", "Refused")},
	})
	if _, taken := paths[path]; path == "" || taken {
		b.failed = fmt.Errorf("%s: path %q is empty or taken", m.FullName(), path)
	}
	paths[path] = object{{verb, o}}
}

// parameters are the fields of a request reached by GET.
func (b *builder) parameters(md protoreflect.MessageDescriptor) (out []object) {
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		out = append(out, object{{"name", fd.TextName()}, {"in", "query"}, {"description", comment(fd)}, {"schema", b.value(fd, rulesOf(fd), false)}})
	}
	return out
}

func body(schema object) object { return object{{"application/json", object{{"schema", schema}}}} }

func ref(name string) object { return ref2("schemas", name) }

func ref2(kind, name string) object { return object{{"$ref", "#/components/" + kind + "/" + name}} }

// comment is what the schema says of a descriptor, as one paragraph.
func comment(d protoreflect.Descriptor) string {
	return strings.Join(strings.Fields(d.ParentFile().SourceLocations().ByDescriptor(d).LeadingComments), " ")
}

func firstSentence(text string) string {
	before, _, _ := strings.Cut(text, ". ")
	return strings.TrimSuffix(before, ".") + "."
}

// actionNumber is the field of needlebook.options.v1.action. It is read from its bytes: the generated code of that option may not be there while this
// runs.
const actionNumber = 50104

// actionOf is what a method does, as the table of rights names it.
func actionOf(m protoreflect.MethodDescriptor) string {
	action := protoreflect.EnumNumber(0)
	for b := m.Options().ProtoReflect().GetUnknown(); len(b) > 0; {
		number, typ, n := protowire.ConsumeTag(b)
		if n < 0 {
			break
		}
		size := protowire.ConsumeFieldValue(number, typ, b[n:])
		if size < 0 {
			break
		}
		if number == actionNumber && typ == protowire.VarintType {
			v, _ := protowire.ConsumeVarint(b[n:])
			action = protoreflect.EnumNumber(v)
		}
		b = b[n+size:]
	}
	for i := range m.ParentFile().Imports().Len() {
		file := m.ParentFile().Imports().Get(i)
		if enum := file.Enums().ByName("Action"); enum != nil && file.Package() == "needlebook.options.v1" {
			if v := enum.Values().ByNumber(action); v != nil {
				return strings.TrimPrefix(string(v.Name()), "ACTION_")
			}
		}
	}
	return ""
}

func text(description string) object { return object{{"type", "string"}, {"description", description}} }

// problem is the schema of a refusal: package rest writes it, and holds what it writes against this.
func problem() object {
	return object{
		{"type", "object"}, {"description", "A refusal, as RFC 9457 writes it. It holds no patient data, password, code or token."},
		{"properties", object{
			{"type", text("The address, below the server's own, of what is to be known about the reason.")},
			{"title", text("What happened, in one sentence; the same for every refusal of this reason.")},
			{"status", object{{"type", "integer"}, {"description", "The HTTP status."}}},
			{"detail", text("This refusal: each field, what was read there and what is wanted.")},
			{"code", text("The kind of the refusal in the words of google.rpc.Code, lower case.")},
			{"reason", text("The reason of the catalogue, to branch on.")},
			{"field", text("The first field refused, as a path of the schema.")},
			{"cause", text("How it comes about.")},
			{"fix", text("What to do.")},
			{"again", object{{"type", "boolean"}, {"description", "True when the same request, unchanged, may succeed later."}}},
			{"retry_after_ms", object{{"type", "integer"}, {"description", "How long to wait before that, in milliseconds."}}},
			{"call_id", text("The server's id of the call; its log has it.")},
			{"metadata", object{
				{"type", "object"}, {"description", "Figures for programs."}, {"additionalProperties", object{{"type", "string"}}},
			}},
			{"violations", object{{"type", "array"}, {"description", "All fields refused."}, {"items", ref("Violation")}}},
		}},
		{"required", []string{"type", "title", "status", "detail", "code", "reason", "cause", "fix", "again"}},
	}
}

func violation() object {
	return object{
		{"type", "object"}, {"description", "One field refused."},
		{"properties", object{
			{"field", text("The field, as a path of the schema.")}, {"reason", text("The reason of the catalogue.")},
			{"read", text("What was found there, or its length where it may not be shown.")}, {"want", text("What is wanted.")},
		}},
		{"required", []string{"field", "reason"}},
	}
}
