package reckon

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"needlebook/internal/fault"
)

// MarshalJSON writes a message as JSON: names as in the schema, empty lists and empty texts written out, two spaces of indent, no line feed at the
// end. The same message gives the same bytes.
func MarshalJSON(m proto.Message) ([]byte, error) {
	raw, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("write JSON: %w", err)
	}
	var out bytes.Buffer
	if err := json.Indent(&out, raw, "", "  "); err != nil { // protojson varies its white space on purpose
		return nil, fmt.Errorf("write JSON: %w", err)
	}
	return out.Bytes(), nil
}

// UnmarshalJSON reads one JSON object into m, which is cleared first. Names must be those of the schema. The error is a fault.List that names every
// unknown field and every value of the wrong kind by its path.
func UnmarshalJSON(data []byte, m proto.Message) error {
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.UseNumber()
	var object any
	if err := decoder.Decode(&object); err != nil {
		return syntaxRefusal(err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return fault.New(badField, "request", "", "one JSON object and nothing behind it")
	}
	var w jsonWalk
	w.message("", object, m.ProtoReflect().Descriptor())
	if err := w.refused.Err(); err != nil {
		return err
	}
	if err := protojson.Unmarshal(data, m); err != nil {
		refused := fault.New(badField, "request", "", "each field once, and values as docs/arithmetic.md and the schema say")
		refused.Err = err
		return refused
	}
	return nil
}

func syntaxRefusal(err error) error {
	want := "a JSON object"
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		want = fmt.Sprintf("a JSON object; it goes wrong at byte %d", syntax.Offset)
	}
	return fault.New(badField, "request", "", want)
}

// jsonWalk holds a decoded object against a message's fields, so that what is wrong is named by its path.
type jsonWalk struct{ refused fault.List }

func (w *jsonWalk) refuse(path string, read any, want string) {
	if path == "" {
		path = "request"
	}
	w.refused = append(w.refused, fault.New(badField, path, readText(read), want))
}

// readText is a value as it may be shown: a number, a text or a truth value in full, else what kind it is.
func readText(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case json.Number:
		return v.String()
	case bool:
		return strconv.FormatBool(v)
	case nil:
		return "null"
	case []any:
		return "a list"
	default:
		return "an object"
	}
}

func (w *jsonWalk) message(path string, v any, d protoreflect.MessageDescriptor) {
	object, ok := v.(map[string]any)
	if !ok {
		w.refuse(path, v, "an object")
		return
	}
	for _, name := range slices.Sorted(maps.Keys(object)) {
		field := d.Fields().ByName(protoreflect.Name(name))
		at := strings.TrimPrefix(path+"."+name, ".")
		if field == nil {
			w.refuse(at, "", "a field of the schema here: "+fieldNames(d))
			continue
		}
		if field.IsMap() {
			continue // no request has one; protojson reads it
		}
		if !field.IsList() {
			w.value(at, object[name], field)
			continue
		}
		list, ok := object[name].([]any)
		if !ok {
			w.refuse(at, object[name], "a list")
			continue
		}
		for i, element := range list {
			w.value(at+"["+strconv.Itoa(i)+"]", element, field)
		}
	}
}

func fieldNames(d protoreflect.MessageDescriptor) string {
	names := make([]string, d.Fields().Len())
	for i := range names {
		names[i] = string(d.Fields().Get(i).Name())
	}
	return strings.Join(names, ", ")
}

// value checks one value. A decimal must be a text: as a number it would pass through a binary fraction in most programs on its way here.
func (w *jsonWalk) value(path string, v any, field protoreflect.FieldDescriptor) {
	text, isText := v.(string)
	switch field.Kind() {
	case protoreflect.MessageKind:
		if field.Message().FullName() != "google.protobuf.Timestamp" {
			w.message(path, v, field.Message())
		} else if !isText {
			w.refuse(path, v, `a time, such as "2026-03-01T09:30:00Z"`)
		}
	case protoreflect.StringKind:
		if !isText {
			w.refuse(path, v, "a text in quotes")
		}
	case protoreflect.BoolKind:
		if _, ok := v.(bool); !ok {
			w.refuse(path, v, "true or false")
		}
	case protoreflect.EnumKind:
		if !isText || field.Enum().Values().ByName(protoreflect.Name(text)) == nil {
			w.refuse(path, v, "one of "+valueNames(field.Enum()))
		}
	case protoreflect.BytesKind:
		if !isText {
			w.refuse(path, v, "bytes in base64, in quotes")
		}
	case protoreflect.Int64Kind, protoreflect.Uint64Kind: // JSON of protocol buffers writes these in quotes and reads them either way
		if _, ok := v.(json.Number); !ok && !isText {
			w.refuse(path, v, "a whole number")
		}
	default:
		if _, ok := v.(json.Number); !ok {
			w.refuse(path, v, "a whole number")
		}
	}
}

func valueNames(d protoreflect.EnumDescriptor) string {
	var names []string
	for i := 1; i < d.Values().Len(); i++ {
		names = append(names, string(d.Values().Get(i).Name()))
	}
	return strings.Join(names, ", ")
}
