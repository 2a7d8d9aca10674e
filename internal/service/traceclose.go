package service

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// mostReport bounds the report that a close keeps, in bytes.
const mostReport = 32_768

// CloseDay closes a day over the report whose digest the caller was shown.
func (h *tracing) CloseDay(ctx context.Context, m *tracev1.CloseDayRequest) (*tracev1.CloseDayResponse, error) {
	day, err := h.openDay(ctx, m.GetClinicId(), m.GetDay())
	if err != nil {
		return nil, err
	}
	key, err := day.closeKey()
	if err != nil {
		return nil, err
	}
	if done, err := day.closedBefore(key, m); err != nil || done != nil {
		return done, err
	}
	shown, err := day.answer()
	if err != nil {
		return nil, err
	}
	report, err := canonical(shown.GetReport())
	switch {
	case err != nil:
		return nil, err
	case !bytes.Equal(shown.GetReportDigest(), m.GetReportDigest()):
		return nil, fault.New(faultv1.Reason_REASON_STALE_READ, "report_digest", fmt.Sprintf("%x", m.GetReportDigest()[:8]), "the digest of the day as it stands now")
	case shown.GetOpenItems() > 0 && strings.TrimSpace(m.GetRemark()) == "":
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "remark", "", fmt.Sprintf("a word about the %d items that are open", shown.GetOpenItems()))
	case len(report) > mostReport:
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "day", fmt.Sprintf("a report of %d bytes", len(report)), fmt.Sprintf("at most %d", mostReport))
	}
	clinic := day.clinic.String()
	t := touched{kind: key.Kind, record: accountID(key.ID), clinic: accountID(day.clinic)}
	out, err := day.amend(ctx, m.GetRequestId(), key, t, func(st *record.State, at time.Time) (chart.Change, error) {
		r := &chartv1.DayClose{Id: key.ID.String(), Closings: []*chartv1.Closing{{Id: m.GetRequestId(), Seen: &chartv1.DaySeen{
			ReportDigest: shown.GetReportDigest(), Report: report, OpenItems: int32(shown.GetOpenItems()), Remark: m.GetRemark(), Closed: day.act(at),
		}}}}
		if !st.Has("") || len(st.Values()) == 0 {
			r.ClinicId, r.Day = &clinic, m.GetDay()
		}
		return day.chart.Change(st, &chartv1.Record{Kind: &chartv1.Record_DayClose{DayClose: r}})
	})
	if err != nil {
		return nil, err
	}
	after, err := h.again(ctx, day)
	return &tracev1.CloseDayResponse{Day: after, ClosingId: m.GetRequestId(), AlreadyApplied: out.again}, err
}

// again is a day after it was changed.
func (h *tracing) again(ctx context.Context, day *clinicDay) (*tracev1.GetDayCloseResponse, error) {
	after, err := h.openDay(ctx, day.clinic.String(), day.on)
	if err != nil {
		return nil, err
	}
	return after.answer()
}

// closeKey is the record of the day's close: the one there is, else one whose id follows from the day, so that two people who close at once make one.
func (c *clinicDay) closeKey() (record.Key, error) {
	stands, err := c.standing()
	if err != nil || !stands.key.ID.IsZero() {
		return stands.key, err
	}
	return c.derivedKey(c.ctx, optionsv1.RecordKind_RECORD_KIND_DAY_CLOSE, "day", c.clinic.String(), dateText(c.on))
}

// closedBefore answers a request that was done before; nil when it was not. The same id for another close is ID_REUSED.
func (c *clinicDay) closedBefore(key record.Key, m *tracev1.CloseDayRequest) (*tracev1.CloseDayResponse, error) {
	id, err := record.ParseID(m.GetRequestId())
	if err != nil {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "request_id", fault.Withheld(m.GetRequestId()), "a UUID in lower case")
	}
	earlier, _, err := c.ledger.FindEdit(c.ctx, c.org, id)
	if fault.Has(err, faultv1.Reason_REASON_NOT_FOUND) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	r, err := c.typed(c.ctx, key)
	if err != nil {
		return nil, err
	}
	for _, x := range r.GetDayClose().GetClosings() {
		if x.GetId() == m.GetRequestId() && earlier.Key == key && bytes.Equal(x.GetSeen().GetReportDigest(), m.GetReportDigest()) && x.GetSeen().GetRemark() == m.GetRemark() {
			day, err := c.answer()
			return &tracev1.CloseDayResponse{Day: day, ClosingId: x.GetId(), AlreadyApplied: true}, err
		}
	}
	return nil, fault.New(faultv1.Reason_REASON_ID_REUSED, "request_id", m.GetRequestId(), "")
}

// ReopenDay takes a close back.
func (h *tracing) ReopenDay(ctx context.Context, m *tracev1.ReopenDayRequest) (*tracev1.ReopenDayResponse, error) {
	day, err := h.openDay(ctx, m.GetClinicId(), m.GetDay())
	if err != nil {
		return nil, err
	}
	var key record.Key
	for _, k := range day.closeKeys() {
		r, err := day.typed(ctx, k)
		if err != nil {
			return nil, err
		}
		for _, x := range r.GetDayClose().GetClosings() {
			if x.GetId() == m.GetClosingId() {
				key = k
			}
		}
	}
	if key.ID.IsZero() {
		return nil, fault.New(faultv1.Reason_REASON_NOT_FOUND, "closing_id", m.GetClosingId(), "")
	}
	t := touched{kind: key.Kind, record: accountID(key.ID), clinic: accountID(day.clinic)}
	out, err := day.amend(ctx, m.GetRequestId(), key, t, func(st *record.State, at time.Time) (chart.Change, error) {
		return day.chart.Void(st, "closings["+m.GetClosingId()+"]", m.GetReason(), day.actAt(at))
	})
	if err != nil {
		return nil, err
	}
	after, err := h.again(ctx, day)
	return &tracev1.ReopenDayResponse{Day: after, AlreadyApplied: out.again}, err
}
