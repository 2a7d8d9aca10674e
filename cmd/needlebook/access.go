package main

import (
	"context"
	"flag"
	"fmt"
	"strings"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

const accessClaimHelp = `
Uses the one-time link that serve, admin invite or access staff add printed: it
sets the name to sign in with and the password, of at least 15 characters. The
link works once, within 72 hours.

  needlebook access claim --name ada --password-file password \
    --link 'http://127.0.0.1:8740/#invitation=7K3M-9PQR-2TVW-XYZ4'

Quote the link, or the shell takes what follows the # for a comment. With
--full-name the first administrator is called by her own name from then on.`

func accessCommand() command {
	return command{name: "access", short: "claim a link, manage staff and devices", sub: []command{
		{name: "claim", usage: "--link URL --name NAME [flags]", short: "come in by a one-time link", long: accessClaimHelp,
			run: runAccessClaim},
		{name: "staff", short: "add and list the people who work here", sub: accessStaffCommands()},
		{name: "code", usage: "--server URL --name NAME [flags]", short: "make a one-time code for a device",
			long: accessCodeHelp, run: runAccessCode},
		{name: "devices", usage: "--server URL --name NAME [flags]", short: "list the devices and how each stands",
			run: runAccessDevices},
		{name: "revoke", usage: "--device ID --reason TEXT [flags]", short: "end a device's right to exchange", long: accessRevokeHelp,
			run: runAccessRevoke},
	}}
}

// officeFlags are the flags that every command of an administrator's has.
type officeFlags struct {
	*flag.FlagSet
	server, name, passwordFile, authority string
	json                                  bool
}

// newAccessFlags has the flags of every command here but the server.
func newAccessFlags(name string) *officeFlags {
	f := &officeFlags{FlagSet: newFlags("access " + name)}
	f.StringVar(&f.name, "name", "", "the `name` to sign in with")
	f.StringVar(&f.passwordFile, "password-file", "", "`file` with the password, one line")
	f.StringVar(&f.authority, "ca", "", "PEM `file` with the certificate that the server's is signed by")
	f.BoolVar(&f.json, "json", false, "print the answer as JSON")
	return f
}

// newOfficeFlags has the flags of a command that signs in.
func newOfficeFlags(name string) *officeFlags {
	f := newAccessFlags(name)
	f.StringVar(&f.server, "server", "", "`address` of the server, scheme and host")
	return f
}

// signIn signs in for one command. Nothing of it is stored.
func (f *officeFlags) signIn(ctx context.Context) (*office, error) {
	if f.server == "" || f.name == "" || f.passwordFile == "" {
		return nil, usagef("%s: want --server, --name and --password-file", f.Name())
	}
	o, err := newOffice(f.Name(), "--server", f.server, f.authority)
	if err != nil {
		return nil, err
	}
	password, err := readSecret(f.Name()+": --password-file", f.passwordFile)
	if err != nil {
		return nil, err
	}
	resp, err := ask(ctx, o, o.access.SignIn, &accessv1.SignInRequest{SignInName: f.name, Password: password})
	o.token, o.staff = resp.GetTokens().GetAccessToken(), resp.GetStaff()
	return o, err
}

// enumFlag reads the name of a value of an enum, such as injector for ROLE_INJECTOR.
// prefix is what the schema puts before each name; all is the names for the refusal.
func enumFlag(text, prefix string, values map[string]int32, all string) (int32, error) {
	n, ok := values[prefix+strings.ToUpper(text)]
	if !ok || n == 0 || text != strings.ToLower(text) {
		return 0, fmt.Errorf("read %q, want one of %s", text, all)
	}
	return n, nil
}

type claimedJSON struct {
	Server     string `json:"server"`
	StaffID    string `json:"staff_id"`
	Name       string `json:"name"`
	SignInName string `json:"sign_in_name"`
}

func runAccessClaim(ctx context.Context, e env, args []string) error {
	f := newAccessFlags("claim")
	link := f.String("link", "", "the one-time `link`, in quotes")
	fullName := f.String("full-name", "", "the person's name as it stands on documents; as it was without it")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *link == "" || f.name == "" || f.passwordFile == "" {
		return usagef("%s: want --link, --name and --password-file", f.Name())
	}
	server, secret, ok := strings.Cut(*link, "#invitation=")
	if !ok || secret == "" { // the link is a secret: it is not repeated
		return usagef("%s: --link: read %d characters without #invitation= and a code, want the whole link in quotes", f.Name(), len(*link))
	}
	o, err := newOffice(f.Name(), "--link", server, f.authority)
	if err != nil {
		return err
	}
	password, err := readSecret(f.Name()+": --password-file", f.passwordFile)
	if err != nil {
		return err
	}
	req := &accessv1.ClaimInvitationRequest{RequestId: uuid.NewString(), Token: secret, SignInName: f.name, Password: password}
	if *fullName != "" {
		req.Name = &recordv1.PersonName{Full: *fullName}
	}
	resp, err := ask(ctx, o, o.access.ClaimInvitation, req)
	if err != nil {
		return err
	}
	return f.printClaimed(e, o, resp.GetStaff())
}

func (f *officeFlags) printClaimed(e env, o *office, s *accessv1.Staff) error {
	if f.json {
		return printAsJSON(e.stdout, claimedJSON{o.server, s.GetId(), s.GetName().GetFull(), s.GetSignInName()})
	}
	var p page
	p.wrapped("", cutWords(s.GetName().GetFull())+" may sign in at "+o.server+" from now on.")
	p.row("staff", s.GetId())
	p.row("signs in as", cutWords(s.GetSignInName()))
	return p.write(e.stdout)
}
