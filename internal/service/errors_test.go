package service

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"testing"
	"time"

	"connectrpc.com/connect"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/auth"
	"needlebook/internal/blob"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

// details are those of an error from the wire.
func details(t *testing.T, e *connect.Error) (info *errdetails.ErrorInfo, retry *errdetails.RetryInfo, bad *errdetails.BadRequest) {
	t.Helper()
	for _, d := range e.Details() {
		m, err := d.Value()
		if err != nil {
			t.Fatal(err)
		}
		switch m := m.(type) {
		case *errdetails.ErrorInfo:
			if info != nil {
				t.Error("two ErrorInfos")
			}
			info = m
		case *errdetails.RetryInfo:
			retry = m
		case *errdetails.BadRequest:
			bad = m
		}
	}
	return info, retry, bad
}

// TestWireError_EveryReason: each reason of the catalogue has its code, its one ErrorInfo, and a RetryInfo exactly where the catalogue says to try
// again.
func TestWireError_EveryReason(t *testing.T) {
	for _, entry := range fault.Entries() {
		e, reason := wireError(fmt.Errorf("open: %w", fault.New(entry.Reason, "field_name", "", "something else")), "r1")
		info, retry, bad := details(t, e)
		if e.Code().String() != string(entry.Class) || reason != entry.Reason {
			t.Errorf("%s: %s, %s", entry.Reason, e.Code(), reason)
		}
		if info == nil || "REASON_"+info.GetReason() != entry.Reason.String() || info.GetDomain() != Domain || info.GetMetadata()["request_id"] != "r1" {
			t.Errorf("%s: %v", entry.Reason, info)
		}
		if (retry != nil) != entry.Retry || (bad != nil) != (entry.Class == fault.InvalidArgument) {
			t.Errorf("%s: retry %v, violations %v", entry.Reason, retry, bad)
		}
	}
}

func TestWireError_OfTheMachine(t *testing.T) {
	secret := errors.New("patient Zora Test at /var/lib/x")
	for name, c := range map[string]struct {
		err  error
		code connect.Code
		want faultv1.Reason
	}{
		"unknown":       {secret, connect.CodeInternal, faultv1.Reason_REASON_INTERNAL},
		"disk full":     {fmt.Errorf("%w: %w", store.ErrDiskFull, secret), connect.CodeResourceExhausted, faultv1.Reason_REASON_DISK_FULL},
		"blobs full":    {fmt.Errorf("%w: %w", blob.ErrDiskFull, secret), connect.CodeResourceExhausted, faultv1.Reason_REASON_DISK_FULL},
		"failed":        {&store.FailedError{Cause: secret}, connect.CodeUnavailable, faultv1.Reason_REASON_UNAVAILABLE},
		"closed":        {store.ErrClosed, connect.CodeUnavailable, faultv1.Reason_REASON_UNAVAILABLE},
		"damaged":       {&store.FailedError{Cause: &store.CorruptError{What: "x"}}, connect.CodeDataLoss, faultv1.Reason_REASON_DATA_LOSS},
		"damaged row":   {fmt.Errorf("x: %w", auth.ErrStored), connect.CodeDataLoss, faultv1.Reason_REASON_DATA_LOSS},
		"damaged photo": {&blob.DamagedError{}, connect.CodeDataLoss, faultv1.Reason_REASON_DATA_LOSS},
		"no photo":      {blob.ErrNotFound, connect.CodeNotFound, faultv1.Reason_REASON_NOT_FOUND},
		"canceled":      {context.Canceled, connect.CodeCanceled, faultv1.Reason_REASON_UNAVAILABLE},
		"late":          {context.DeadlineExceeded, connect.CodeDeadlineExceeded, faultv1.Reason_REASON_UNAVAILABLE},
		"a path":        {&fs.PathError{Op: "open", Path: "/var/lib/x", Err: secret}, connect.CodeInternal, faultv1.Reason_REASON_INTERNAL},
		"no reason":     {fault.New(faultv1.Reason(9999), "", "", ""), connect.CodeInternal, faultv1.Reason_REASON_INTERNAL},
		"Connect's own": {connect.NewError(connect.CodeInvalidArgument, secret), connect.CodeInvalidArgument, faultv1.Reason_REASON_INVALID_FIELD},
	} {
		e, reason := wireError(c.err, "r1")
		if info, _, _ := details(t, e); e.Code() != c.code || reason != c.want || info == nil {
			t.Errorf("%s: %s %s %v, want %s %s", name, e.Code(), reason, info, c.code, c.want)
		}
		if strings.Contains(e.Message(), "Zora") || strings.Contains(e.Message(), "/var/lib") {
			t.Errorf("%s: %s", name, e.Message())
		}
	}
}

func TestRetryDelay_IsTheRefusalsOwn(t *testing.T) {
	e, _ := wireError(rateLimited(90*time.Second), "r1")
	if _, retry, _ := details(t, e); retry.GetRetryDelay().AsDuration() != 90*time.Second+time.Millisecond {
		t.Errorf("%v", retry)
	}
}

func TestReadActions_RefusesAnRPCWithoutOne(t *testing.T) {
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("x.proto"), Package: proto.String("x"), Syntax: proto.String("proto3"),
		MessageType: []*descriptorpb.DescriptorProto{{Name: proto.String("M")}},
		Service: []*descriptorpb.ServiceDescriptorProto{{Name: proto.String("S"), Method: []*descriptorpb.MethodDescriptorProto{
			{Name: proto.String("Open"), InputType: proto.String(".x.M"), OutputType: proto.String(".x.M")},
		}}},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := readActions([]protoreflect.ServiceDescriptor{file.Services().Get(0)}); err == nil || !strings.Contains(err.Error(), "x.S.Open") {
		t.Errorf("%v", err)
	}
	if all, err := readActions(Services()); err != nil || len(all) < 40 {
		t.Errorf("%d actions, %v", len(all), err)
	}
}

func FuzzPageToken(f *testing.F) {
	o := Organisation{Secret: make([]byte, 32)}
	f.Add(o.seal("staff", []byte("x")))
	f.Add("")
	f.Add("AAAA")
	f.Fuzz(func(t *testing.T, token string) {
		at, err := o.unseal("staff", token)
		if err == nil && token != "" && o.seal("staff", at) != token {
			t.Errorf("%q opens and is not what is sealed", token)
		}
		if _, err := o.unseal("devices", token); err == nil && token != "" {
			t.Errorf("%q opens another list", token)
		}
	})
}

// FuzzBinaryCodec: what the codec takes is what protobuf takes, but for the bounds, and the bounds hold.
func FuzzBinaryCodec(f *testing.F) {
	good, err := proto.Marshal(&syncv1.HelloRequest{Replica: make([]byte, 16), Chain: []*syncv1.ChainPoint{{Counter: 1}}})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Fuzz(func(t *testing.T, b []byte) {
		var ours, plain syncv1.ExchangeRequest
		err := binaryCodec{}.Unmarshal(b, &ours)
		if plainErr := proto.Unmarshal(b, &plain); err == nil && (plainErr != nil || !proto.Equal(&ours, &plain)) {
			t.Errorf("read otherwise than protobuf does: %v", plainErr)
		}
		parts := maxParts
		if err == nil && countParts(ours.ProtoReflect().Descriptor(), b, &parts, maxDepth) != nil {
			t.Error("taken beyond the bounds")
		}
	})
}

// TestWireError_ACallThatIsNotAnsweredYet: what Connect says of it becomes the reason of the catalogue, with the code that clients know.
func TestWireError_ACallThatIsNotAnsweredYet(t *testing.T) {
	got, reason := wireError(connect.NewError(connect.CodeUnimplemented, errors.New("not implemented")), "call-1")
	if got.Code() != connect.CodeUnimplemented || reason != faultv1.Reason_REASON_UNIMPLEMENTED {
		t.Fatalf("%v, %v", got, reason)
	}
	if _, name := reasonIn(got); name != "UNIMPLEMENTED" {
		t.Errorf("the detail says %s", name)
	}
}
