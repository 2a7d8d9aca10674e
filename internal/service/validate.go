package service

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"connectrpc.com/connect"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/fault"
)

// validate holds a request against the bounds of the schema.
//
// Exchange and Hello are left out: the core decodes their edits strictly and checks each against the schema of its record, holding one that
// fails instead
// of refusing the page. A refusal of the whole here would let one bad edit block those behind it, and would cost the same work twice.
//
// So are Prepare and PlanDraw: reckon bounds every field by itself, as the command line and the tablet need it to, and says what was read and
// what is wanted.
func (s *Service) validate(m any) error {
	switch m.(type) {
	case *syncv1.ExchangeRequest, *syncv1.HelloRequest:
		return nil
	case *dosev1.PrepareRequest, *dosev1.PlanDrawRequest:
		return nil
	}
	msg, ok := m.(proto.Message)
	if !ok {
		return fmt.Errorf("%T is no message", m)
	}
	err := s.validator.Validate(msg)
	var invalid *protovalidate.ValidationError
	if !errors.As(err, &invalid) {
		return err
	}
	var list fault.List
	for _, v := range invalid.Violations {
		list = append(list, refusalOf(msg.ProtoReflect().Descriptor(), v))
	}
	return list.Err()
}

// refusalOf says a violation of the schema's bounds in plain words: the field, what was read there, and all that the field takes.
func refusalOf(md protoreflect.MessageDescriptor, v *protovalidate.Violation) *fault.Error {
	field, fd := protovalidate.FieldPathString(v.Proto.GetField()), v.FieldDescriptor
	refusal := func(read, want string) *fault.Error {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, read, want)
	}
	if one := oneofAt(md, v.Proto.GetField().GetElements()); one != nil {
		return refusal("", "one of "+fieldNamesOf(one.Fields()))
	}
	if fd == nil { // a rule over several fields, which says it in its own words
		return refusal("", v.Proto.GetMessage())
	}
	want := wantOf(fd)
	if strings.HasPrefix(protovalidate.FieldPathString(v.Proto.GetRule()), "repeated.items.") {
		want = wantOfValue(fd, rulesOf(fd).GetRepeated().GetItems())
	}
	if v.Proto.GetRuleId() == "required" {
		return refusal("", want+"; it is required")
	}
	return refusal(shown(fd, field, v.FieldValue), want)
}

// oneofAt is the oneof that a path leads to, or nil when it leads to a field.
func oneofAt(md protoreflect.MessageDescriptor, path []*validate.FieldPathElement) protoreflect.OneofDescriptor {
	for i, step := range path {
		fd := md.Fields().ByNumber(protoreflect.FieldNumber(step.GetFieldNumber()))
		switch {
		case fd == nil && i == len(path)-1:
			return md.Oneofs().ByName(protoreflect.Name(step.GetFieldName()))
		case fd == nil || fd.Message() == nil:
			return nil
		}
		md = fd.Message()
	}
	return nil
}

// shown is what was read in a field, or how much of it.
func shown(fd protoreflect.FieldDescriptor, path string, v protoreflect.Value) string {
	if !v.IsValid() {
		return ""
	}
	switch x := v.Interface().(type) {
	case string:
		return readText(fd, path, x)
	case []byte:
		return strconv.Itoa(len(x)) + " bytes"
	case bool, int32, int64, uint32, uint64:
		return readFigure(fd, path, fmt.Sprint(x))
	case protoreflect.EnumNumber:
		if value := fd.Enum().Values().ByNumber(x); value != nil {
			return string(value.Name())
		}
		return strconv.Itoa(int(x))
	case protoreflect.List:
		return strconv.Itoa(x.Len()) + " items"
	}
	return ""
}

// intercept is the inside of every call, from the decoded request to the answer or the error that goes out.
func (s *Service) intercept(next connect.UnaryFunc) connect.UnaryFunc {
	return func(ctx context.Context, req connect.AnyRequest) (resp connect.AnyResponse, err error) {
		c := callOf(ctx)
		defer func() {
			if p := recover(); p != nil {
				resp, err = nil, c.fail(s.panicked(c, p))
			}
		}()
		if err := s.unread.take(req.Any()); err != nil {
			s.enterRefused(ctx, c, err)
			return nil, c.fail(err)
		}
		if err := s.validate(req.Any()); err != nil {
			s.enterRefused(ctx, c, err)
			return nil, c.fail(err)
		}
		resp, err = next(ctx, req)
		if err != nil {
			s.enterRefused(ctx, c, err)
			return nil, c.fail(err)
		}
		if err := s.enterDone(ctx, c); err != nil {
			return nil, c.fail(err)
		}
		return resp, nil
	}
}
