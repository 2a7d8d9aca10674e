package demo

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/gen/needlebook/chart/v1/chartv1connect"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// dayRule is a rule of the formulary that is written in days, of the market and the source that come first.
func (w *world) dayRule(product string) (chart.IntervalRule, *formularyv1.IntervalRule, error) {
	for _, r := range w.book.IntervalRules(product, "") {
		if r.GetLeast().GetDays() > 0 && r.OtherProduct == nil {
			return chart.IntervalRule{Product: product, Days: int(r.GetLeast().GetDays()), Level: r.GetLevel()}, r, nil
		}
	}
	return chart.IntervalRule{}, nil, fmt.Errorf("formulary %s: no interval of %s in days", w.book.Version(), product)
}

// intervals is what a tablet finds about the intervals of a patient's treatments.
func (w *world) intervals(t *tablet, p *patient) ([]*dosev1.Finding, error) {
	rule, _, err := w.dayRule("onabotulinumtoxinA")
	if err != nil {
		return nil, err
	}
	var treatments []chart.Treatment
	for _, k := range t.r.Keys(optionsv1.RecordKind_RECORD_KIND_SESSION) {
		typed, err := chart.Typed(t.r.View(k))
		if err != nil {
			return nil, err
		}
		if typed.GetSession().GetPatientId() == p.id.String() {
			treatments = append(treatments, chart.FoldTreatment(t.r.View(k)))
		}
	}
	return chart.IntervalFindings(treatments, rule), nil
}

// overdrawn is what a tablet finds about a vial.
func overdrawn(t *tablet, k record.Key) []*dosev1.Finding {
	return chart.OverdrawnFindings(chart.FoldVial(t.r.View(k), t.r.Held(k)))
}

// backOnLine syncs everyone once, and then those who came first again.
func (p *play) backOnLine(ctx context.Context) error {
	for _, s := range []struct {
		hour, minute int
		t            *tablet
		by           *person
	}{{17, 30, p.room1, p.staff[maren]}, {17, 35, p.room2, p.staff[yusuf]}, {18, 5, p.island, p.staff[liv]},
		{18, 20, p.room1, p.staff[maren]}, {18, 25, p.room2, p.staff[yusuf]}} {
		if err := p.goTo(ctx, clockTime(demoDay(), s.hour, s.minute)); err != nil {
			return err
		}
		if err := s.t.exchange(ctx, s.by); err != nil {
			return err
		}
	}
	return nil
}

// conflictOf is the one conflict of a session; nil when there is not exactly one.
func (p *play) conflictOf(t *tablet, k record.Key) *chartv1.Conflict {
	if all := p.chart.Conflicts(t.r.View(k)); len(all) == 1 {
		return all[0]
	}
	return nil
}

// siblingText is a value of a dose in conflict, with who wrote it and when.
func siblingText(s *chartv1.Sibling) (string, error) {
	var m struct {
		Product    string `json:"product"`
		Milliunits int32  `json:"dose_milliunits"`
	}
	if err := json.Unmarshal([]byte(s.GetValueJson()), &m); err != nil {
		return "", fmt.Errorf("a value in conflict: %w", err)
	}
	a, err := amountOf(&chartv1.Dose{Product: m.Product, DoseMilliunits: m.Milliunits})
	if err != nil {
		return "", err
	}
	by := s.GetAuthors()[0]
	return fmt.Sprintf("%s (%s, %s, %s)", a.Display(), by.GetStaffName(), by.GetDeviceLabel(), by.GetAuthoredAt().AsTime().Format("15:04")), nil
}

// settleLip settles the conflict for the value that Yusuf wrote: it is what he gave.
func (p *play) settleLip(c *chartv1.Conflict) error {
	at, by := clockTime(demoDay(), 18, 30), p.staff[yusuf]
	var keep *chartv1.Dot
	for _, s := range c.GetSiblings() {
		if s.GetAuthors()[0].GetStaffId() == by.id.String() {
			keep = s.GetAuthors()[0].GetDot()
		}
	}
	change, err := p.chart.Settle(p.room2.r.View(p.shared.key()), &chartv1.SettleConflictRequest{
		RequestId: p.room2.dice.request(), Key: c.GetKey(), Path: c.GetPath(), Context: c.GetContext(),
		Choice: &chartv1.SettleConflictRequest_Keep{Keep: keep}, Reason: "this is what was given",
	}, chart.Act{Staff: by.id, At: at})
	if err != nil {
		return fmt.Errorf("settle %s: %w", c.GetPath(), err)
	}
	return p.room2.change(by, at, change)
}

// chartFor is the server's ChartService for a person who signs in at a desk.
func (w *world) chartFor(ctx context.Context, p *person) (chartv1connect.ChartServiceClient, error) {
	token, err := w.signInAtDesk(ctx, p)
	if err != nil {
		return nil, err
	}
	return chartv1connect.NewChartServiceClient(w.client(token, nil), w.url), nil
}

// signInAtDesk lets a person in without a device, and returns the token.
func (w *world) signInAtDesk(ctx context.Context, p *person) (string, error) {
	resp, err := w.access("").SignIn(ctx, &accessv1.SignInRequest{SignInName: p.signIn, Password: Password})
	if err != nil {
		return "", fmt.Errorf("sign %s in: %w", p.name, err)
	}
	return resp.GetTokens().GetAccessToken(), nil
}

// judgeHeld has the medical lead look at what was held, and release it.
func (p *play) judgeHeld(ctx context.Context) (held []*chartv1.HeldRecordEdit, err error) {
	if err := p.goTo(ctx, clockTime(demoDay(), 18, 40)); err != nil {
		return nil, err
	}
	desk, err := p.chartFor(ctx, p.staff[ines])
	if err != nil {
		return nil, err
	}
	list, err := desk.ListHeldEdits(ctx, &chartv1.ListHeldEditsRequest{})
	if err != nil {
		return nil, fmt.Errorf("list held edits: %w", err)
	}
	for _, h := range list.GetHeldEdits() {
		_, err := desk.ReleaseHeldEdit(ctx, &chartv1.ReleaseHeldEditRequest{
			RequestId: p.dice.request(), Dot: h.GetAuthorship().GetDot(), Reason: "the patient was treated; the record must say so",
		})
		if err != nil {
			return nil, fmt.Errorf("release a held edit: %w", err)
		}
	}
	return list.GetHeldEdits(), nil
}

// countersign takes what came late into the signed visit.
func (p *play) countersign() error {
	at := clockTime(demoDay(), 18, 45)
	return p.sign(p.room1, p.staff[maren], at, p.signed.key(), syncv1.SignatureMeaning_SIGNATURE_MEANING_ADDENDUM, addendumStatement)
}

// inStep syncs everyone until nobody has anything new.
func (p *play) inStep(ctx context.Context) error {
	at := clockTime(demoDay(), 18, 50)
	for range 2 {
		for _, s := range []struct {
			t  *tablet
			by *person
		}{{p.room1, p.staff[maren]}, {p.room2, p.staff[yusuf]}, {p.island, p.staff[liv]}} {
			at = at.Add(time.Minute)
			if err := p.goTo(ctx, at); err != nil {
				return err
			}
			if err := s.t.exchange(ctx, s.by); err != nil {
				return err
			}
		}
	}
	return nil
}

// figure is a figure of a finding as a number; -1 when it has none.
func figure(f *dosev1.Finding, name string) int {
	n, err := strconv.Atoi(f.GetFigures()[name])
	if err != nil {
		return -1
	}
	return n
}
