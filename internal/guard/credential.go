package guard

import (
	"slices"

	"needlebook/internal/anatomy"

	accessv1 "needlebook/gen/needlebook/access/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

func staffKey(id string) string { return keyOf(optionsv1.RecordKind_RECORD_KIND_STAFF, id) }

// injector judges who injects: the one in charge, and whoever gave an injection.
func (c *checker) injector() {
	ids := []string{c.f.Session.GetResponsibleId()}
	for k := range c.injections {
		if by := c.injections[k].giving.GetDone().GetBy(); by != "" && !slices.Contains(ids, by) {
			ids = append(ids, by)
		}
	}
	for _, id := range ids {
		p := c.f.person(id)
		if p == nil {
			about := []string{"responsible_id"}
			if id != "" {
				about = []string{staffKey(id)}
			}
			c.say(said{code: CodeInjectorUnknown, about: about, text: "The injector is not named, or her record is not known here."})
			continue
		}
		if p.GetSuspended() != nil {
			c.say(said{code: CodeInjectorBarred, about: []string{staffKey(id)}, text: "The injector is suspended."})
		}
		if !c.hasRole(p, accessv1.Role_ROLE_INJECTOR) && !c.hasRole(p, accessv1.Role_ROLE_MEDICAL_LEAD) {
			c.say(said{code: CodeRoleMissing, about: []string{staffKey(id)}, text: "The injector has no current position as injector at this clinic."})
		}
		c.credentials(p)
	}
}

// hasRole reports whether a person holds a role at the visit's clinic on the day.
func (c *checker) hasRole(p *accessv1.Staff, role accessv1.Role) bool {
	return slices.ContainsFunc(p.GetPositions(), func(pos *accessv1.Position) bool {
		a := pos.GetAssignment()
		if a == nil || pos.GetEnded() != nil || !slices.Contains(a.GetRoles(), role) || a.ClinicId != nil && a.GetClinicId() != c.f.Session.GetClinicId() {
			return false
		}
		until, ok := dayOf(a.GetUntil())
		return a.GetUntil() == nil || ok && c.day <= until
	})
}

// credential is how freely a person may treat a region on the day; unspecified when not at all.
func (c *checker) credential(p *accessv1.Staff, region anatomy.Region) accessv1.CredentialKind {
	best := accessv1.CredentialKind_CREDENTIAL_KIND_UNSPECIFIED
	for _, cr := range p.GetCredentials() {
		g := cr.GetGrant()
		until, ok := dayOf(g.GetExpiresOn())
		if cr.GetRevoked() != nil || g.GetRegion() != string(region) || g.GetExpiresOn() != nil && (!ok || c.day > until) {
			continue
		}
		if g.GetKind() == accessv1.CredentialKind_CREDENTIAL_KIND_INDEPENDENT || best == accessv1.CredentialKind_CREDENTIAL_KIND_UNSPECIFIED {
			best = g.GetKind()
		}
	}
	return best
}

// credentials holds each region that the person treats and may not.
func (c *checker) credentials(p *accessv1.Staff) {
	for _, region := range c.regions() {
		if !c.treats(p.GetId(), region) {
			continue
		}
		s := said{about: []string{staffKey(p.GetId()), string(region)}}
		switch kind := c.credential(p, region); {
		case kind == accessv1.CredentialKind_CREDENTIAL_KIND_INDEPENDENT:
			continue
		case kind == accessv1.CredentialKind_CREDENTIAL_KIND_SUPERVISED:
			supervisor := c.f.person(c.f.Session.GetSupervisorId())
			if supervisor != nil && supervisor.GetId() != p.GetId() && c.credential(supervisor,
				region) == accessv1.CredentialKind_CREDENTIAL_KIND_INDEPENDENT {
				continue
			}
			s.code, s.text = CodeSupervision, "The injector treats the "+c.body.text(string(region))+
				" only under supervision, and no supervisor credentialled for it is named."
		case (region == anatomy.LowerFace || region == anatomy.Neck) && c.credential(p,
			anatomy.UpperFace) != accessv1.CredentialKind_CREDENTIAL_KIND_UNSPECIFIED:
			s.code, s.text = CodeLowerFace, "The injector is signed off for the upper face and not for the "+c.body.text(string(region))+"."
		default:
			s.code, s.text = CodeCredential, "The injector has no credential for the "+c.body.text(string(region))+"."
		}
		c.say(s)
	}
}

// treats reports whether a person gives any injection in a region; what nobody gave yet the injector in charge will.
func (c *checker) treats(id string, region anatomy.Region) bool {
	return slices.ContainsFunc(c.injections, func(i injection) bool {
		by := i.giving.GetDone().GetBy()
		if by == "" {
			by = c.f.Session.GetResponsibleId()
		}
		return i.known && i.about.Region == region && by == id
	})
}
