package demo

import (
	"context"
	"fmt"
	"strings"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/gen/needlebook/access/v1/accessv1connect"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// Password is every demo account's. It protects nothing: it is printed.
const Password = "demo only, nobody is treated"

// The clinics, by their places in world.clinics.
const (
	vellmouth = iota
	tarnholt
	oreth
	everywhere = -1
)

const organisationName = "Oreth Sound Clinics"

// clinic is a place of work.
type clinic struct {
	id   record.ID
	name string
}

// person is a member of staff.
type person struct {
	name       string
	signIn     string
	profession string
	clinic     int // everywhere for the whole organisation
	roles      []accessv1.Role
	injects    bool // has credentials for the upper and the lower face
	prescribes bool
	id         record.ID
	ended      bool // the position ended during the day
}

// staff is who works for the organisation. All are invented.
func staff() []*person {
	lead, injector := accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_INJECTOR
	one := func(r ...accessv1.Role) []accessv1.Role { return r }
	return []*person{
		{name: "Ottoline Marsk", signIn: "ottoline", profession: "practice manager", clinic: everywhere, roles: one(accessv1.Role_ROLE_ADMINISTRATOR)},
		{name: "Inés Varga", signIn: "ines", profession: "physician", clinic: everywhere, roles: one(lead, injector), injects: true, prescribes: true},
		{name: "Maren Tolvik", signIn: "maren", profession: "nurse", clinic: vellmouth, roles: one(injector), injects: true, prescribes: true},
		{name: "Yusuf Adeyle", signIn: "yusuf", profession: "physician", clinic: vellmouth, roles: one(injector), injects: true, prescribes: true},
		{name: "Liv Sorokan", signIn: "liv", profession: "nurse", clinic: everywhere, roles: one(injector), injects: true, prescribes: true},
		{name: "Bo Estermann", signIn: "bo", profession: "nurse, locum", clinic: vellmouth, roles: one(injector), injects: true},
		{name: "Tam Okiro", signIn: "tam", profession: "assistant", clinic: vellmouth, roles: one(accessv1.Role_ROLE_ASSISTANT)},
		{name: "Pell Abara", signIn: "pell", profession: "receptionist", clinic: everywhere, roles: one(accessv1.Role_ROLE_FRONT_DESK)},
		{name: "Greta Nilo", signIn: "greta", profession: "inspector", clinic: everywhere, roles: one(accessv1.Role_ROLE_AUDITOR)},
	}
}

// Places of the staff in world.staff.
const (
	ottoline = iota
	ines
	maren
	yusuf
	liv
	bo
	tam
	pell
	greta
)

func (p *person) given() string { given, _, _ := strings.Cut(p.name, " "); return given }

// rolesText is the roles in words.
func (p *person) rolesText() string {
	if p.ended {
		return "none any more"
	}
	var words []string
	for _, r := range p.roles {
		words = append(words, strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(r.String(), "ROLE_"), "_", " ")))
	}
	return strings.Join(words, ", ")
}

func (w *world) access(token string) accessv1connect.AccessServiceClient {
	return accessv1connect.NewAccessServiceClient(w.client(token, nil), w.url)
}

// claim lets a person in by the one-time link.
func (w *world) claim(ctx context.Context, p *person, link string) (token string, err error) {
	_, code, ok := strings.Cut(link, "#invitation=")
	if !ok {
		return "", fmt.Errorf("the link of %s holds no invitation", p.name)
	}
	resp, err := w.access("").ClaimInvitation(ctx, &accessv1.ClaimInvitationRequest{
		RequestId: w.dice.request(), Token: code, SignInName: p.signIn, Password: Password,
	})
	if err != nil {
		return "", fmt.Errorf("let %s in: %w", p.name, err)
	}
	p.id, err = record.ParseID(resp.GetStaff().GetId())
	return resp.GetTokens().GetAccessToken(), err
}

// hire adds everyone but the administrator, who is there from the beginning.
func (w *world) hire(ctx context.Context) error {
	for _, p := range w.staff[1:] {
		at := &accessv1.RoleAssignment{Roles: p.roles}
		if p.clinic != everywhere {
			at.ClinicId = new(w.clinics[p.clinic].id.String())
		}
		resp, err := w.access(w.admin).AddStaff(ctx, &accessv1.AddStaffRequest{
			RequestId: w.dice.request(), Name: &recordv1.PersonName{Full: p.name}, Assignments: []*accessv1.RoleAssignment{at},
		})
		if err != nil {
			return fmt.Errorf("add %s: %w", p.name, err)
		}
		if _, err := w.claim(ctx, p, resp.GetInvitationUrl()); err != nil {
			return err
		}
		if err := w.credential(ctx, p); err != nil {
			return err
		}
	}
	return nil
}

// describe writes what everyone is and who may prescribe into their records, once the tablet has them.
func (w *world) describe(t *tablet) error {
	for _, p := range w.staff {
		m := &accessv1.Staff{Profession: &p.profession}
		if p.prescribes {
			m.Prescribes = &accessv1.Prescribing{Basis: "licence as a prescribing " + p.profession}
		}
		k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_STAFF, ID: p.id}
		if err := t.write(w.staff[ottoline], w.clock.now(), k, m); err != nil {
			return err
		}
	}
	return nil
}

// credential lets an injector treat the upper and the lower face.
func (w *world) credential(ctx context.Context, p *person) error {
	if !p.injects {
		return nil
	}
	m := &accessv1.SetStaffRolesRequest{RequestId: w.dice.request(), StaffId: p.id.String(), Reason: "signed off after supervised cases"}
	for _, region := range []string{"upper_face", "lower_face"} {
		m.GrantCredentials = append(m.GrantCredentials, &accessv1.CredentialRequest{
			Region: region, Kind: accessv1.CredentialKind_CREDENTIAL_KIND_INDEPENDENT, Evidence: "ten supervised cases",
		})
	}
	_, err := w.access(w.admin).SetStaffRoles(ctx, m)
	if err != nil {
		return fmt.Errorf("give credentials to %s: %w", p.name, err)
	}
	return nil
}

// StaffName implements chart.People.
func (w *world) StaffName(id record.ID) string {
	for _, p := range w.staff {
		if p.id == id {
			return p.name
		}
	}
	return ""
}

// Device implements chart.People.
func (w *world) Device(replica causal.ReplicaID) (record.ID, string) {
	for _, t := range w.tablets {
		if t.r.ID() == replica {
			return t.id, t.label
		}
	}
	return record.ID{}, ""
}
