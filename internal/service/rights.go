package service

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
)

// actions is which action each RPC performs, by procedure: /package.Service/Method.
type actions map[string]optionsv1.Action

// Services are the descriptors of all services that this server answers.
func Services() []protoreflect.ServiceDescriptor {
	var out []protoreflect.ServiceDescriptor
	for _, file := range []protoreflect.FileDescriptor{
		accessv1.File_needlebook_access_v1_access_service_proto, syncv1.File_needlebook_sync_v1_sync_service_proto,
		dosev1.File_needlebook_dose_v1_dose_service_proto, dosev1.File_needlebook_dose_v1_finding_service_proto, chartv1.File_needlebook_chart_v1_chart_service_proto,
		tracev1.File_needlebook_trace_v1_trace_service_proto,
	} {
		for i := range file.Services().Len() {
			out = append(out, file.Services().Get(i))
		}
	}
	return out
}

// readActions reads the action of every RPC. An RPC without one is an error: the server does not start.
func readActions(services []protoreflect.ServiceDescriptor) (actions, error) {
	out := actions{}
	for _, s := range services {
		for i := range s.Methods().Len() {
			m := s.Methods().Get(i)
			action, _ := proto.GetExtension(m.Options(), optionsv1.E_Action).(optionsv1.Action)
			if action == optionsv1.Action_ACTION_UNSPECIFIED {
				return nil, fmt.Errorf("RPC %s names no action", m.FullName())
			}
			out[fmt.Sprintf("/%s/%s", s.FullName(), m.Name())] = action
		}
	}
	return out, nil
}
