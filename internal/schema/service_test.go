package schema_test

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"

	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// readers are the verbs of calls that change nothing.
func readers() []string {
	return []string{"Get", "List", "Search", "Trace", "Export", "Check", "Compare", "Prepare", "Plan", "Advise", "Hello"}
}

// repeatable are the calls that change something and need no request id, with the reason.
func repeatable() map[protoreflect.FullName]string {
	return map[protoreflect.FullName]string{
		"needlebook.access.v1.AccessService.SignIn":    "a second sign-in is a sign-in of its own",
		"needlebook.access.v1.AccessService.Refresh":   "the token itself is for one use",
		"needlebook.sync.v1.SyncService.Exchange":      "edits have ids of their own",
		"needlebook.sync.v1.SyncService.PutPhotoChunk": "the content names itself",
		"needlebook.sync.v1.SyncService.HandInSealed":  "edits have dots and ids of their own",
	}
}

func (in *inspector) service(sd protoreflect.ServiceDescriptor) {
	for i := range sd.Methods().Len() {
		m := sd.Methods().Get(i)
		in.method(m)
		in.request(m.Input())
	}
}

func (in *inspector) method(m protoreflect.MethodDescriptor) {
	if action, _ := proto.GetExtension(m.Options(), optionsv1.E_Action).(optionsv1.Action); action == optionsv1.Action_ACTION_UNSPECIFIED {
		in.fault(m, "names no action, so nobody could be allowed it")
	}
	options, _ := m.Options().(*descriptorpb.MethodOptions)
	if options.GetIdempotencyLevel() == descriptorpb.MethodOptions_NO_SIDE_EFFECTS {
		in.fault(m, "has NO_SIDE_EFFECTS, which lets its request into a URL")
	}
	if m.IsStreamingClient() || m.IsStreamingServer() {
		in.fault(m, "streams")
	}
	in.requestID(m)
	in.paged(m)
}

func (in *inspector) requestID(m protoreflect.MethodDescriptor) {
	reads := slices.ContainsFunc(readers(), func(verb string) bool { return strings.HasPrefix(string(m.Name()), verb) })
	if _, ok := repeatable()[m.FullName()]; reads || ok {
		return
	}
	id := m.Input().Fields().ByName("request_id")
	if id == nil || id.Kind() != protoreflect.StringKind || !fieldRules(id).GetString().GetUuid() {
		in.fault(m, "changes something and its request has no request_id that is a UUID")
	}
}

func (in *inspector) paged(m protoreflect.MethodDescriptor) {
	if !strings.HasPrefix(string(m.Name()), "List") && !strings.HasPrefix(string(m.Name()), "Search") {
		return
	}
	request, response := m.Input().Fields(), m.Output().Fields()
	if request.ByName("page_size") == nil || request.ByName("page_token") == nil || response.ByName("next_page_token") == nil {
		in.fault(m, "is a list without pages")
	}
}

// request walks what comes from outside. Records inside a request are held to their own rules besides.
func (in *inspector) request(md protoreflect.MessageDescriptor) {
	if strings.HasPrefix(string(md.FullName()), "google.protobuf.") || !in.first(md, "request") {
		return
	}
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		if fd.IsMap() {
			in.fault(fd, "is a map in a request, where order and duplicates are lost")
			continue
		}
		in.bounds(fd)
		if fd.Kind() == protoreflect.MessageKind {
			in.request(fd.Message())
		}
	}
}
