package rest

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// Again says what a client that lost the answer of a call may do.
type Again string

// What may be done.
const (
	// AgainSame: the call has a request_id. The same request with the same id has the effect of one call, and gives the first one's answer.
	AgainSame Again = "yes, with the same `request_id`"
	// AgainFree: the call changes no record.
	AgainFree Again = "yes"
	// AgainSync: what is sent is named by its own content, so that it has its effect once.
	AgainSync Again = "yes, unchanged"
)

// AgainOf says whether a call may be made again when its answer was lost. The request decides: one that has a request_id is known again. Of the others
// those that read may be repeated, and those of the sync by what the protocol promises (docs/protocol.md).
func AgainOf(m protoreflect.MethodDescriptor) (Again, bool) {
	reads := []string{"Get", "List", "Search", "Check", "Compare", "Advise", "Plan", "Prepare", "Trace", "Export", "Find"}
	if fd := m.Input().Fields().ByName("request_id"); fd != nil && !fd.HasOptionalKeyword() {
		return AgainSame, true
	}
	if m.Parent().Name() == "SyncService" {
		return AgainSync, true
	}
	if m.Name() == "SignIn" {
		return AgainFree, true
	}
	for _, verb := range reads {
		if strings.HasPrefix(string(m.Name()), verb) {
			return AgainFree, true
		}
	}
	return "", false
}

// Table is the table of every call in docs/rest.md, in Markdown.
func Table(routes Routes) string {
	var b strings.Builder
	b.WriteString("| call | address | action | again after a lost answer |\n| --- | --- | --- | --- |\n")
	for _, r := range routes.All() {
		action, _ := proto.GetExtension(r.Method.Options(), optionsv1.E_Action).(optionsv1.Action)
		again, _ := AgainOf(r.Method)
		fmt.Fprintf(&b, "| %s.%s | `%s %s` | %s | %s |\n", r.Method.Parent().Name(), r.Method.Name(), r.Verb, r.Path,
			strings.TrimPrefix(action.String(), "ACTION_"), again)
	}
	return b.String()
}
