package service

import (
	"context"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/gen/needlebook/trace/v1/tracev1connect"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// tracing answers TraceService.
type tracing struct {
	tracev1connect.UnimplementedTraceServiceHandler
	*charting
	dosing *dosing // for the edition that counts
}

func newTracing(h *charting) *tracing { return &tracing{charting: h, dosing: newDosing(h)} }

// doseSpan is a range of milliunits as a message.
func doseSpan(r chart.Range) *dosev1.DoseSpan {
	most := chart.Units(r.Most)
	return &dosev1.DoseSpan{LeastUnits: chart.Units(r.Least), MostUnits: &most, Certain: r.Certain()}
}

// sideOf is a side as an optional field; nil when none was recorded.
func sideOf(s chartv1.Side) *chartv1.Side {
	if s == chartv1.Side_SIDE_UNSPECIFIED {
		return nil
	}
	return &s
}

// typed is a record as its message, what is in conflict left out. A record that is not there is an empty one.
func (d *desk) typed(ctx context.Context, k record.Key) (*chartv1.Record, error) {
	if d.index.get(k) == nil {
		return &chartv1.Record{}, nil
	}
	r, err := d.ledger.Read(ctx, d.org, k)
	if err != nil {
		return nil, err
	}
	return chart.Typed(r.State)
}

// clinic is a clinic's record; nil when there is none.
func (d *desk) clinic(ctx context.Context, id record.ID) (*chartv1.Clinic, error) {
	r, err := d.typed(ctx, record.Key{Kind: kindClinic, ID: id})
	return r.GetClinic(), err
}

// zone is the time zone of a clinic; UTC when it names none that is known.
func (d *desk) zone(ctx context.Context, clinic record.ID) (*time.Location, error) {
	c, err := d.clinic(ctx, clinic)
	if err != nil {
		return nil, err
	}
	zone, err := time.LoadLocation(c.GetTimeZone())
	if err != nil {
		return time.UTC, nil
	}
	return zone, nil
}

// ownClinic is a clinic where the caller works, or else the first of the organisation.
func (d *desk) ownClinic(ctx context.Context) (record.ID, error) {
	for _, p := range d.call.principal.Positions {
		if p.Clinic != uuid.Nil {
			return recordID(p.Clinic), nil
		}
	}
	o, err := d.organisation(ctx, d.call.principal.Org)
	return recordID(o.Clinic), err
}

// today is the day at a clinic by its own calendar.
func (d *desk) today(ctx context.Context, clinic record.ID) (*recordv1.Date, error) {
	zone, err := d.zone(ctx, clinic)
	if err != nil {
		return nil, err
	}
	return dateAt(d.Now().In(zone)), nil
}

// dateAt is the day of a moment in its own zone.
func dateAt(at time.Time) *recordv1.Date {
	return &recordv1.Date{Year: int32(at.Year()), Month: int32(at.Month()), Day: int32(at.Day())}
}

// midnight is the beginning of a day in a zone.
func midnight(d *recordv1.Date, zone *time.Location) time.Time {
	return time.Date(int(d.GetYear()), time.Month(d.GetMonth()), int(d.GetDay()), 0, 0, 0, 0, zone)
}

// checkDates makes sure that both are days of the calendar, and that the first is not behind the last.
func checkDates(fromField string, from *recordv1.Date, untilField string, until *recordv1.Date) error {
	if err := checkDate(fromField, from); err != nil {
		return err
	}
	if err := checkDate(untilField, until); err != nil {
		return err
	}
	if from != nil && until != nil && dateNumber(from) > dateNumber(until) {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, fromField, dateText(from), "a day not behind "+untilField+", "+dateText(until))
	}
	return nil
}

func dateText(d *recordv1.Date) string { return midnight(d, time.UTC).Format(time.DateOnly) }

func (d *desk) asOf() *timestamppb.Timestamp {
	return timestamppb.New(d.Now().Truncate(time.Millisecond))
}
