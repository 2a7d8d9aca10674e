package service

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// wrong is a refusal of a field of a message in JSON.
func wrong(path, read, want string) *fault.Error {
	if path == "" {
		path = "message"
	}
	return fault.New(faultv1.Reason_REASON_INVALID_FIELD, path, read, want)
}

// checkJSON holds JSON against a message before it is decoded: it names the first field that is not as the schema has it, what was read there and what is
// wanted. It is stricter than JSON of protobuf in what a slip of the hand makes: a whole number has no exponent and no fraction, and nothing is given
// twice. Bounds come later, when the message is decoded.
func checkJSON(md protoreflect.MessageDescriptor, b []byte) error {
	if !utf8.Valid(b) {
		return wrong("", "bytes that are no text", "JSON in UTF-8")
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.UseNumber()
	r := jsonReader{d}
	token, err := r.next("")
	if err != nil {
		return err
	}
	if err := r.message(md, "", token, 0); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return wrong("", "more after its end", "one object")
	}
	return nil
}

type jsonReader struct{ d *json.Decoder }

// next is the next token.
func (r jsonReader) next(path string) (json.Token, error) {
	token, err := r.d.Token()
	if err == nil {
		return token, nil
	}
	var syntax *json.SyntaxError
	switch {
	case errors.As(err, &syntax):
		return nil, wrong(path, fmt.Sprintf("no JSON at byte %d", syntax.Offset), "JSON (RFC 8259)")
	case r.d.InputOffset() == 0:
		return nil, wrong(path, "nothing", "an object, {} when there is nothing to say")
	}
	return nil, wrong(path, fmt.Sprintf("an end at byte %d", r.d.InputOffset()), "the rest of the JSON")
}

// message reads the members of an object, of which token is the first sign.
func (r jsonReader) message(md protoreflect.MessageDescriptor, path string, token json.Token, depth int) error {
	if token != json.Delim('{') {
		return wrong(path, shapeOf(token), "an object, "+string(md.Name()))
	}
	if depth >= maxDepth {
		return wrong(path, "a level more", fmt.Sprintf("at most %d levels", maxDepth))
	}
	given, ones := map[protoreflect.FieldNumber]bool{}, map[protoreflect.Name]protoreflect.Name{}
	for r.d.More() {
		key, err := r.next(path)
		if err != nil {
			return err
		}
		name, _ := key.(string)
		at := below(path, fault.Show(name))
		fd := md.Fields().ByTextName(name)
		if fd == nil {
			fd = md.Fields().ByJSONName(name)
		}
		switch {
		case fd == nil:
			return wrong(at, "", "a field that "+string(md.Name())+" has: "+fieldNames(md))
		case given[fd.Number()]:
			return wrong(at, "twice", "once")
		}
		given[fd.Number()] = true
		value, err := r.next(at)
		if err != nil {
			return err
		}
		if value == nil { // null is absent
			continue
		}
		if one := fd.ContainingOneof(); one != nil && !one.IsSynthetic() {
			if other, taken := ones[one.Name()]; taken {
				return wrong(at, "beside "+string(other), "one of the two")
			}
			ones[one.Name()] = fd.Name()
		}
		if err := r.field(fd, at, value, depth); err != nil {
			return err
		}
	}
	_, err := r.next(path) // the closing brace
	return err
}

// field reads a value that is not null: one, a list or a map.
func (r jsonReader) field(fd protoreflect.FieldDescriptor, path string, token json.Token, depth int) error {
	switch {
	case fd.IsMap():
		return r.entries(fd, path, token, depth)
	case !fd.IsList():
		return r.value(fd, path, token, depth)
	case token != json.Delim('['):
		return wrong(path, readToken(fd, path, token), wantOf(fd))
	}
	for i := 0; r.d.More(); i++ {
		at := fmt.Sprintf("%s[%d]", path, i)
		item, err := r.next(at)
		if err == nil {
			err = r.value(fd, at, item, depth)
		}
		if err != nil {
			return err
		}
	}
	_, err := r.next(path) // the closing bracket
	return err
}

func (r jsonReader) entries(fd protoreflect.FieldDescriptor, path string, token json.Token, depth int) error {
	if token != json.Delim('{') {
		return wrong(path, shapeOf(token), "an object")
	}
	for r.d.More() {
		if _, err := r.next(path); err != nil { // the key: any text
			return err
		}
		item, err := r.next(path)
		if err == nil {
			err = r.value(fd.MapValue(), path, item, depth)
		}
		if err != nil {
			return err
		}
	}
	_, err := r.next(path)
	return err
}

// value reads one value.
func (r jsonReader) value(fd protoreflect.FieldDescriptor, path string, token json.Token, depth int) error {
	if fd.Kind() == protoreflect.MessageKind && fd.Message().FullName() != "google.protobuf.Timestamp" {
		return r.message(fd.Message(), path, token, depth+1)
	}
	rules := rulesOf(fd)
	if fd.IsList() {
		rules = rules.GetRepeated().GetItems()
	}
	if fitsKind(fd, token) {
		return nil
	}
	return wrong(path, readToken(fd, path, token), wantOfValue(fd, rules))
}

// fitsKind reports whether a token is a value of the field's kind.
func fitsKind(fd protoreflect.FieldDescriptor, token json.Token) bool {
	text, isText := token.(string)
	figure, isNumber := token.(json.Number)
	switch fd.Kind() {
	case protoreflect.BoolKind:
		_, ok := token.(bool)
		return ok
	case protoreflect.StringKind:
		return isText
	case protoreflect.BytesKind:
		return isText && isBase64(text)
	case protoreflect.EnumKind:
		if isNumber {
			return fitsInteger(protoreflect.Int32Kind, string(figure))
		}
		return isText && fd.Enum().Values().ByName(protoreflect.Name(text)) != nil
	case protoreflect.MessageKind: // a time
		_, err := time.Parse(time.RFC3339, text)
		return isText && err == nil
	case protoreflect.FloatKind, protoreflect.DoubleKind:
		return isNumber
	}
	if isNumber {
		text = string(figure)
	}
	return (isText || isNumber) && fitsInteger(fd.Kind(), text)
}

// fitsInteger reports whether text is a whole number of a kind, written as the program writes it.
func fitsInteger(kind protoreflect.Kind, text string) bool {
	switch kind {
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		n, err := strconv.ParseInt(text, 10, 32)
		return err == nil && strconv.FormatInt(n, 10) == text
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		n, err := strconv.ParseInt(text, 10, 64)
		return err == nil && strconv.FormatInt(n, 10) == text
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		n, err := strconv.ParseUint(text, 10, 32)
		return err == nil && strconv.FormatUint(n, 10) == text
	}
	n, err := strconv.ParseUint(text, 10, 64)
	return err == nil && strconv.FormatUint(n, 10) == text
}

// isBase64 takes either alphabet, with padding or without, as JSON of protobuf does.
func isBase64(text string) bool {
	encoding := base64.RawStdEncoding
	if strings.ContainsAny(text, "-_") {
		encoding = base64.RawURLEncoding
	}
	if len(text)%4 == 0 {
		text = strings.TrimSuffix(strings.TrimSuffix(text, "="), "=")
	}
	_, err := encoding.DecodeString(text)
	return err == nil
}

// readToken is what an error shows of a token in a field.
func readToken(fd protoreflect.FieldDescriptor, path string, token json.Token) string {
	switch t := token.(type) {
	case string:
		return readText(fd, path, t)
	case json.Number:
		return readFigure(fd, path, string(t))
	}
	return shapeOf(token)
}

// shapeOf is what kind of thing a token begins.
func shapeOf(token json.Token) string {
	switch t := token.(type) {
	case json.Delim:
		if t == '[' {
			return "a list"
		}
		return "an object"
	case string:
		return "text"
	case json.Number:
		return "a number"
	case bool:
		return strconv.FormatBool(t)
	}
	return "null"
}

func below(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// fieldNames lists the fields of a message, the first of many.
func fieldNames(md protoreflect.MessageDescriptor) string {
	if md.Fields().Len() == 0 {
		return "none"
	}
	return fieldNamesOf(md.Fields())
}

func fieldNamesOf(fields protoreflect.FieldDescriptors) string {
	var names []string
	for i := range fields.Len() {
		if i == mostNames {
			return strings.Join(names, ", ") + " and more"
		}
		names = append(names, fields.Get(i).TextName())
	}
	return strings.Join(names, ", ")
}
