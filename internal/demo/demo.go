package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
)

// Config says what to play and where.
type Config struct {
	// Seed is what everything invented comes from.
	Seed uint64
	// Dir is the server's data folder, made when it is not there; one that holds anything is ErrNotEmpty. Empty means a temporary one, removed at
	// the end.
	Dir string
	// Listen is the loopback address to listen on; port 0 takes a free one.
	Listen string
	// Out takes the story.
	Out io.Writer
	// Patients is how many the organisation has, at least FewestPatients; 0 stands for UsualPatients.
	Patients int
	// NoTimes leaves out the line of times, the only one that differs between two runs.
	NoTimes bool
}

// Demo is a day that was played, with its server running on.
type Demo struct {
	play   *play
	dir    string // to be removed; empty when it is the caller's
	cancel context.CancelFunc
	done   chan error
}

// TimesMark begins the one line of the story that differs between two runs of a seed.
const TimesMark = "Time:"

// Play makes the organisation and plays the day. The error is a *FailedError when the day did not come out as the story claims; then, too, the
// server runs on and Demo is to be closed. With any other error there is no Demo.
func Play(ctx context.Context, c Config) (*Demo, error) {
	d := &Demo{done: make(chan error, 1)}
	err := d.start(ctx, c)
	var failed *FailedError
	if err != nil && !errors.As(err, &failed) {
		return nil, errors.Join(err, d.Close())
	}
	return d, err
}

func (d *Demo) start(ctx context.Context, c Config) error {
	began := time.Now()
	if c.Patients == 0 {
		c.Patients = UsualPatients
	}
	w, err := newWorld(c.Seed, max(c.Patients, FewestPatients))
	if err != nil {
		return err
	}
	d.play = &play{world: w, teller: &teller{w: c.Out}}
	d.play.say("Needlebook demo, seed %d. All in it is invented. Six years are made in seconds.", c.Seed)
	d.play.line("")
	if err := d.serve(ctx, c); err != nil {
		return err
	}
	made, err := d.play.before(ctx, began)
	if err != nil {
		return err
	}
	if err := d.play.theDay(ctx); err != nil {
		return err
	}
	if !c.NoTimes {
		d.play.say("%s %.1f s for the years before, %.1f s for the day.", TimesMark, made.Seconds(), (time.Since(began) - made).Seconds())
	}
	d.play.clock.run()
	if err := d.play.server.Service().Maintain(ctx); err != nil {
		return err
	}
	return errors.Join(d.play.teller.err, d.play.checks.err())
}

// serve opens the server and lets it serve.
func (d *Demo) serve(ctx context.Context, c Config) (err error) {
	dir := c.Dir
	if dir == "" {
		if dir, err = os.MkdirTemp("", "needlebook-demo-"); err != nil {
			return err
		}
		d.dir = dir
	} else if there, err := os.ReadDir(dir); err == nil && len(there) > 0 {
		return fmt.Errorf("%s: %w", dir, ErrNotEmpty)
	}
	d.play.clock.set(demoDay().AddDate(0, 0, -60).Add(8 * time.Hour))
	if err := d.play.openServer(ctx, dir, c.Listen); err != nil {
		return err
	}
	serving, cancel := context.WithCancel(context.WithoutCancel(ctx))
	d.cancel = cancel
	go func() { d.done <- d.play.server.Serve(serving) }()
	return d.play.found(ctx)
}

// before makes the years before the day.
func (p *play) before(ctx context.Context, began time.Time) (time.Duration, error) {
	var err error
	if p.history, err = p.enrol(ctx, "History", vellmouth, accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE); err != nil {
		return 0, err
	}
	if err := p.settle(ctx, p.history); err != nil {
		return 0, err
	}
	if err := p.makePatients(p.history); err != nil {
		return 0, err
	}
	d := newDice(p.seed, "past visits")
	past := p.pastVisits(d)
	cut := 0
	for cut < len(past) && past[cut].at.Before(islandLeft()) {
		cut++
	}
	if err := p.chartPast(p.history, d, past[:cut]); err != nil {
		return 0, err
	}
	if err := p.history.exchange(ctx, p.staff[ottoline]); err != nil {
		return 0, err
	}
	if err := p.longAgo(ctx); err != nil {
		return 0, err
	}
	if err := p.goTo(ctx, demoDay().AddDate(0, 0, -1).Add(20*time.Hour)); err != nil {
		return 0, err
	}
	if err := p.chartPast(p.history, d, past[cut:]); err != nil {
		return 0, err
	}
	if err := p.bookDay(p.history, d); err != nil {
		return 0, err
	}
	err = p.history.exchange(ctx, p.staff[ottoline])
	p.tellBefore()
	return time.Since(began), err
}

// bookDay fills the day's list.
func (p *play) bookDay(t *tablet, d *dice) error {
	for i, q := range p.patients[:guestCount] {
		place, with, room := vellmouth, p.staff[maren], "Room 1"
		switch {
		case i == walkInGuest:
			continue
		case i == islandGuest:
			place, with, room = oreth, p.staff[liv], ""
		case i%2 == 1:
			with, room = p.staff[yusuf], "Room 2"
		}
		if _, err := p.bookFor(t, d, q, place, with, clockTime(demoDay(), 9+i/2, 30*(i%2)), room); err != nil {
			return err
		}
	}
	return nil
}

// theDay plays and tells the day.
func (p *play) theDay(ctx context.Context) error {
	if err := p.morning(ctx); err != nil {
		return err
	}
	p.tellOffline()
	if err := p.rooms(ctx); err != nil {
		return err
	}
	p.tellRooms()
	known := entry(p.island, p.patients[walkInGuest])
	if err := p.onTheIsland(ctx); err != nil {
		return err
	}
	p.tellIsland(known)
	if err := p.backOnLine(ctx); err != nil {
		return err
	}
	if err := p.tellMerge(ctx, p.conflictOf(p.room2, p.shared.key())); err != nil {
		return err
	}
	if err := p.closeDay(ctx); err != nil {
		return err
	}
	if err := p.inStep(ctx); err != nil {
		return err
	}
	p.line("")
	if err := p.tellClose(ctx); err != nil {
		return err
	}
	if err := p.tellInStep(ctx); err != nil {
		return err
	}
	if err := p.friday(ctx); err != nil {
		return err
	}
	return p.tellEnd(ctx)
}

// Checks is how many claims of the story held.
func (d *Demo) Checks() int { return d.play.held }

// URL is where the server listens.
func (d *Demo) URL() string { return d.play.url }

// Account is a demo sign-in.
type Account struct{ Name, SignIn, Roles, Clinic string }

// Accounts are everyone who may sign in, with Password.
func (d *Demo) Accounts() (out []Account) {
	for _, p := range d.play.staff {
		a := Account{p.name, p.signIn, p.rolesText(), "all clinics"}
		if p.clinic != everywhere {
			a.Clinic = d.play.clinics[p.clinic].name
		}
		out = append(out, a)
	}
	return out
}

// Code makes a one-time code for one more device of the command line in the first clinic.
func (d *Demo) Code(ctx context.Context) (string, error) {
	return d.code(ctx, accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE)
}

func (d *Demo) code(ctx context.Context, kind accessv1.DeviceKind) (string, error) {
	if err := d.play.adminIn(ctx); err != nil {
		return "", err
	}
	m := &accessv1.CreateEnrolmentCodeRequest{
		RequestId: d.play.dice.request(), ClinicId: d.play.clinics[vellmouth].id.String(), Kind: kind,
	}
	resp, err := d.play.access(d.play.admin).CreateEnrolmentCode(ctx, m)
	if err != nil {
		return "", fmt.Errorf("make a code: %w", err)
	}
	return resp.GetCode(), nil
}

// SharedPatient is the patient whom two rooms treated, by name: someone to look for.
func (d *Demo) SharedPatient() string { return d.play.shared.patient.full }

// Wait serves until the context ends, then closes.
func (d *Demo) Wait(ctx context.Context) error {
	select {
	case <-ctx.Done():
	case err := <-d.done:
		d.done <- err
	}
	return d.Close()
}

// Close stops the server and removes the temporary folder.
func (d *Demo) Close() error {
	var errs []error
	if d.cancel != nil {
		d.cancel()
		errs = append(errs, <-d.done)
		d.cancel = nil
		d.play.transport.CloseIdleConnections()
	} else if d.play != nil && d.play.server != nil {
		errs = append(errs, d.play.server.Close())
	}
	if d.dir != "" {
		errs = append(errs, os.RemoveAll(d.dir))
		d.dir = ""
	}
	return errors.Join(errs...)
}
