package service

import (
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// practice reports whether a session is for practice, and so counts nowhere: its patient's mark alone decides. Of patients in conflict one real one makes it
// real. Its own mark is asked only where none of its patients has a record here.
func (o *orgIndex) practice(f *chart.Facts) bool {
	known := false
	for _, p := range f.Patients {
		if of := o.get(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: p}); of != nil {
			if !of.Practice {
				return false
			}
			known = true
		}
	}
	return known || f.Practice
}

// practice reports whether a session is for practice.
func (d *desk) practice(f *chart.Facts) bool { return d.index.practice(f) }
