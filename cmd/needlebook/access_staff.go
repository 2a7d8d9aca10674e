package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

const accessStaffAddHelp = `
Adds a person and prints the one-time link by which she comes in, within 72
hours, with needlebook access claim. Give it to nobody else. --role may be
repeated; without --clinic the roles hold in the whole organisation.

  needlebook access staff add --server http://127.0.0.1:8740 --name ada \
    --password-file password --full-name 'Eve Holm' --role injector

Roles: injector treats patients; medical_lead answers for the medicine;
assistant prepares and records; front_desk books; auditor reads and changes
nothing; administrator manages staff, devices and clinics, and reads no chart.`

func accessStaffCommands() []command {
	return []command{
		{name: "add", usage: "--full-name TEXT --role ROLE [flags]", short: "add a person and print her one-time link", long: accessStaffAddHelp,
			run: runAccessStaffAdd},
		{name: "list", usage: "--server URL --name NAME [flags]", short: "list the staff by name", run: runAccessStaffList},
	}
}

const roleNames = "injector, medical_lead, assistant, front_desk, auditor, administrator"

type staffAddedJSON struct {
	StaffID             string `json:"staff_id"`
	InvitationURL       string `json:"invitation_url"`
	InvitationExpiresAt string `json:"invitation_expires_at"`
}

func runAccessStaffAdd(ctx context.Context, e env, args []string) error {
	f := newOfficeFlags("staff add")
	fullName := f.String("full-name", "", "the person's name as it stands on documents")
	at := f.String("clinic", "", "`id` of the clinic where the roles hold; the whole organisation without it")
	var roles []accessv1.Role
	f.Func("role", "a `role`; may be repeated", func(text string) error {
		n, err := enumFlag(text, "ROLE_", accessv1.Role_value, roleNames)
		roles = append(roles, accessv1.Role(n))
		return err
	})
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *fullName == "" || len(roles) == 0 {
		return usagef("%s: want --full-name and --role", f.Name())
	}
	assignment := &accessv1.RoleAssignment{Roles: roles}
	if *at != "" {
		if _, err := readID(f.Name()+": --clinic", *at); err != nil {
			return err
		}
		assignment.ClinicId = at
	}
	o, err := f.signIn(ctx)
	if err != nil {
		return err
	}
	resp, err := ask(ctx, o, o.access.AddStaff, &accessv1.AddStaffRequest{
		RequestId: uuid.NewString(), Name: &recordv1.PersonName{Full: *fullName}, Assignments: []*accessv1.RoleAssignment{assignment},
	})
	if err != nil {
		return err
	}
	return f.printStaffAdded(e, resp)
}

func (f *officeFlags) printStaffAdded(e env, m *accessv1.AddStaffResponse) error {
	ends := m.GetInvitationExpiresAt().AsTime()
	if f.json {
		return printAsJSON(e.stdout, staffAddedJSON{m.GetStaff().GetId(), m.GetInvitationUrl(), ends.Format(time.RFC3339)})
	}
	var p page
	p.wrapped("", "Added "+cutWords(m.GetStaff().GetName().GetFull())+".")
	p.row("staff", m.GetStaff().GetId())
	for _, a := range staffOf(m.GetStaff()).Positions {
		p.row("roles", a.text())
	}
	p.line("")
	p.wrapped("", "The link for this person alone, once, until "+timeText(ends.UnixMilli())+":")
	p.line("  " + printable(m.GetInvitationUrl()))
	p.line("")
	p.line("To use it, with a password of at least 15 characters in a file:")
	p.line(`  needlebook access claim --name NAME --password-file FILE \`)
	p.line("    --link " + shellWord(m.GetInvitationUrl()) + f.authorityHint())
	return p.write(e.stdout)
}

// authorityHint is the flag that names the certificate, where this command needed one.
func (f *officeFlags) authorityHint() string {
	if f.authority == "" {
		return ""
	}
	return " \\\n    --ca " + shellWord(f.authority)
}

// shellWord is a text as one word of a POSIX shell.
func shellWord(text string) string {
	text = printable(text)
	if text != "" && strings.Trim(text, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_./:@") == "" {
		return text
	}
	return "'" + strings.ReplaceAll(text, "'", `'\''`) + "'"
}

type staffJSON struct {
	StaffID    string         `json:"staff_id"`
	Name       string         `json:"name"`
	SignInName string         `json:"sign_in_name"`
	Positions  []positionJSON `json:"positions"`
	Suspended  bool           `json:"suspended"`
}

// positionJSON is a position that has not been ended. ClinicID is empty for the whole organisation; Until is empty when it does not end.
type positionJSON struct {
	ClinicID string   `json:"clinic_id"`
	Roles    []string `json:"roles"`
	Until    string   `json:"until"`
}

func (a positionJSON) text() string {
	where := "the whole organisation"
	if a.ClinicID != "" {
		where = "clinic " + a.ClinicID
	}
	text := strings.Join(a.Roles, ", ") + " in " + where
	if a.Until != "" {
		text += " until " + a.Until
	}
	return text
}

func staffOf(m *accessv1.Staff) staffJSON {
	s := staffJSON{
		StaffID: m.GetId(), Name: m.GetName().GetFull(), SignInName: m.GetSignInName(), Positions: []positionJSON{}, Suspended: m.GetSuspended() != nil,
	}
	for _, p := range m.GetPositions() {
		if p.GetEnded() != nil {
			continue
		}
		a := positionJSON{ClinicID: p.GetAssignment().GetClinicId(), Roles: []string{}}
		for _, r := range p.GetAssignment().GetRoles() {
			a.Roles = append(a.Roles, strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_")))
		}
		if d := p.GetAssignment().GetUntil(); d != nil {
			a.Until = dateText(d.GetYear(), d.GetMonth(), d.GetDay())
		}
		s.Positions = append(s.Positions, a)
	}
	return s
}

func runAccessStaffList(ctx context.Context, e env, args []string) error {
	f := newOfficeFlags("staff list")
	all := f.Bool("all", false, "also those who may not sign in")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	o, err := f.signIn(ctx)
	if err != nil {
		return err
	}
	people := []staffJSON{}
	for req := (&accessv1.ListStaffRequest{IncludeSuspended: *all}); ; {
		resp, err := ask(ctx, o, o.access.ListStaff, req)
		if err != nil {
			return err
		}
		for _, m := range resp.GetStaff() {
			people = append(people, staffOf(m))
		}
		if req.PageToken = resp.GetNextPageToken(); req.PageToken == "" {
			return f.printStaff(e, slices.Clip(people))
		}
	}
}

func (f *officeFlags) printStaff(e env, people []staffJSON) error {
	if f.json {
		return printAsJSON(e.stdout, struct {
			Staff []staffJSON `json:"staff"`
		}{people})
	}
	var p page
	p.line(fmt.Sprintf("%d on the staff.", len(people)))
	for _, s := range people {
		p.line("")
		p.wrapped("", cutWords(s.Name))
		p.row("staff", s.StaffID)
		p.row("signs in as", cutWords(signInText(s)))
		for _, a := range s.Positions {
			p.row("roles", a.text())
		}
	}
	return p.write(e.stdout)
}

func signInText(s staffJSON) string {
	switch {
	case s.Suspended:
		return "nobody: suspended"
	case s.SignInName == "":
		return "nobody yet: the link was not used"
	}
	return s.SignInName
}
