package service

import (
	"context"
	"errors"
	"fmt"
	"strconv"

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
		field := protovalidate.FieldPathString(v.Proto.GetField())
		list = append(list, fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, shown(v), v.Proto.GetMessage()))
	}
	return list.Err()
}

// shown is what was read in a field. Of text and bytes only the length is told: no one knows here which of them may tell who a patient is.
func shown(v *protovalidate.Violation) string {
	if !v.FieldValue.IsValid() {
		return ""
	}
	switch x := v.FieldValue.Interface().(type) {
	case string:
		return fault.Withheld(x)
	case []byte:
		return strconv.Itoa(len(x)) + " bytes"
	case bool, int32, int64, uint32, uint64:
		return fmt.Sprint(x)
	case protoreflect.EnumNumber:
		return strconv.Itoa(int(x))
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
