package chart

import (
	"google.golang.org/protobuf/proto"
	chartv1 "needlebook/gen/needlebook/chart/v1"

	"needlebook/internal/record"
)

// Add is the change that puts an element into a collection of the record st. The element has its id already. The error is a fault that names the field.
func (c *Chart) Add(st *record.State, collection, id string, element proto.Message) (Change, error) {
	writes, err := c.element(st.Key, collection, id, element)
	return Change{Key: st.Key, Context: contextOf(st), Writes: writes}, err
}

// Units is milliunits as a decimal of units, without zeros at the end.
func Units(milliunits int64) string {
	if milliunits < 0 {
		return "-" + units(-milliunits)
	}
	return units(milliunits)
}

// Change is the change that writes all that a typed record holds over what st, the record as its author saw it, holds. The error is a fault that names
// the field.
func (c *Chart) Change(st *record.State, r *chartv1.Record) (Change, error) {
	change, err := c.write(r, nil)
	change.Context = contextOf(st)
	return change, err
}
