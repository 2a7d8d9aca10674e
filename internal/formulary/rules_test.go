//go:build !js

package formulary

import (
	"testing"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Every entry keeps the bounds of the schema.
func TestEntriesKeepTheSchema(t *testing.T) {
	validator, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	builtin(t).eachList(func(table string, entries protoreflect.List) {
		for i := range entries.Len() {
			entry := entries.Get(i).Message()
			if err := validator.Validate(entry.Interface()); err != nil {
				t.Errorf("%s/%s: %v", table, keyOf(valueOf(entry)), err)
			}
		}
	})
}
