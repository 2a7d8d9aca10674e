package rest

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/fault"
)

// Prefix begins the path of every call.
const Prefix = "/v1/"

// Route is how REST reaches one call.
type Route struct {
	// Verb is GET or POST.
	Verb string
	// Path is whole: it has no variables.
	Path string
	// Procedure is the call as Connect names it: /package.Service/Method.
	Procedure string
	// Method describes the call.
	Method protoreflect.MethodDescriptor
}

// Routes are the routes of a server, by path. They do not change and may be used concurrently.
type Routes struct{ byPath map[string]Route }

// ReadRoutes reads the HTTP annotations of services. A call without one is not reached by REST. It is an error when one holds what this server promises
// never to have: a variable in the path, a body that is not the whole request, GET for a call that may carry something of a patient.
func ReadRoutes(services []protoreflect.ServiceDescriptor) (Routes, error) {
	out := Routes{byPath: map[string]Route{}}
	for _, s := range services {
		for i := range s.Methods().Len() {
			route, ok, err := routeOf(s.Methods().Get(i))
			if err != nil {
				return Routes{}, err
			}
			if !ok {
				continue
			}
			if other, taken := out.byPath[route.Path]; taken {
				return Routes{}, fmt.Errorf("%s: %s is the path of %s too", route.Procedure, route.Path, other.Procedure)
			}
			out.byPath[route.Path] = route
		}
	}
	return out, nil
}

func routeOf(m protoreflect.MethodDescriptor) (Route, bool, error) {
	rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	if rule == nil {
		return Route{}, false, nil
	}
	r := Route{Procedure: fmt.Sprintf("/%s/%s", m.Parent().FullName(), m.Name()), Method: m}
	wrong := func(why string) (Route, bool, error) { return Route{}, false, fmt.Errorf("%s: %s", r.Procedure, why) }
	switch p := rule.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		r.Verb, r.Path = "GET", p.Get
	case *annotations.HttpRule_Post:
		r.Verb, r.Path = "POST", p.Post
	default:
		return wrong("want get or post")
	}
	switch {
	case !strings.HasPrefix(r.Path, Prefix) || strings.ContainsAny(r.Path, "{}*?#%"):
		return wrong("want a path below " + Prefix + " without variables, read " + r.Path)
	case len(rule.GetAdditionalBindings()) > 0 || rule.GetResponseBody() != "":
		return wrong("want one binding whose answer is the whole response")
	case r.Verb == "POST" && rule.GetBody() != "*":
		return wrong(`want the whole request as the body, "*"`)
	case r.Verb == "GET" && (rule.GetBody() != "" || !mayGet(m)):
		return wrong("want POST: only calls that carry nothing of patients are reached by GET")
	}
	return r, true, nil
}

// mayGet reports whether a call carries nothing of a patient, neither in its request nor in its answer. Addresses are kept in logs and histories.
func mayGet(m protoreflect.MethodDescriptor) bool {
	action, _ := proto.GetExtension(m.Options(), optionsv1.E_Action).(optionsv1.Action)
	return slices.Contains([]optionsv1.Action{optionsv1.Action_ACTION_MANAGE_DEVICES, optionsv1.Action_ACTION_MANAGE_STAFF}, action)
}

// All returns the routes by path. The slice is the caller's own.
func (r Routes) All() []Route {
	out := make([]Route, 0, len(r.byPath))
	for _, route := range r.byPath {
		out = append(out, route)
	}
	slices.SortFunc(out, func(a, b Route) int { return strings.Compare(a.Path, b.Path) })
	return out
}

// Find returns the route of a path.
func (r Routes) Find(path string) (Route, bool) {
	route, ok := r.byPath[path]
	return route, ok
}

// Check holds the line and the headers of a request against its route, before anything is read: the method, the media type, and what stands behind the
// question mark. The status is of the refusal; 0 when there is none.
func (r Route) Check(method, contentType, rawQuery string) (status int, err error) {
	if method != r.Verb {
		return 405, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "method", method, r.Verb)
	}
	if r.Verb == "POST" {
		if rawQuery != "" {
			return 400, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "query", fault.Withheld(rawQuery),
				"nothing behind the path: the request goes in the body, and stays out of what logs keep of addresses")
		}
		if media, _, _ := strings.Cut(contentType, ";"); !strings.EqualFold(strings.TrimSpace(media), "application/json") {
			return 415, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "content-type", contentType, "application/json")
		}
		return 0, nil
	}
	query, err := url.ParseQuery(rawQuery)
	if err != nil {
		return 400, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "query", fault.Withheld(rawQuery), "name=value, joined by &")
	}
	for name, values := range query {
		if err := checkParameter(r.Method.Input(), name, values); err != nil {
			return 400, err
		}
	}
	return 0, nil
}

// checkParameter holds one parameter of a query against the field that it sets.
func checkParameter(md protoreflect.MessageDescriptor, name string, values []string) error {
	fd := md.Fields().ByTextName(name)
	switch {
	case fd == nil:
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, name, "", "one of "+strings.Join(Parameters(md), ", "))
	case len(values) != 1:
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, name, strconv.Itoa(len(values))+" values", "one")
	}
	switch fd.Kind() {
	case protoreflect.BoolKind:
		if values[0] != "true" && values[0] != "false" {
			return fault.New(faultv1.Reason_REASON_INVALID_FIELD, name, fault.Withheld(values[0]), "true or false")
		}
	case protoreflect.Uint32Kind:
		if n, err := strconv.ParseUint(values[0], 10, 32); err != nil || strconv.FormatUint(n, 10) != values[0] {
			return fault.New(faultv1.Reason_REASON_INVALID_FIELD, name, values[0], "a whole number")
		}
	}
	return nil
}

// Parameters are the names of what a request reached by GET may set, in the order of the schema.
func Parameters(md protoreflect.MessageDescriptor) (names []string) {
	for i := range md.Fields().Len() {
		names = append(names, md.Fields().Get(i).TextName())
	}
	return names
}
