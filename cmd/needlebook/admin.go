package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"

	"needlebook/internal/auth"
	"needlebook/internal/server"
)

const inviteLong = `
Makes a one-time link by which an administrator sets a name and password anew:
the first one, or the one whose staff id is given. Whoever may open the server's
folder may do this, and the audit log says that it was done.

  needlebook admin invite
  needlebook admin invite --staff 0190b5a0-0000-7000-8000-000000000001`

func adminCommand() command {
	return command{name: "admin", short: "console commands for the operator", sub: []command{
		{name: "invite", short: "make a one-time link for an administrator", long: inviteLong, usage: "[flags]", run: runInvite},
	}}
}

func runInvite(ctx context.Context, e env, args []string) error {
	flags := newFlags("admin invite")
	data := flags.String("data", server.Default().Data, "`folder` of the server")
	staff := flags.String("staff", "", "staff `id`; the first administrator when empty")
	url := flags.String("public-url", "http://"+server.Default().Listen, "`address` for the link, without a server")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	var q server.InviteRequest
	if *staff != "" {
		var err error
		if q.Staff, err = uuid.Parse(*staff); err != nil {
			return usagef("admin invite: staff: read %q, want a UUID", *staff)
		}
	}
	invited, err := invite(ctx, e, *data, *url, q)
	if err != nil {
		return usageOf("admin invite", err)
	}
	_, err = fmt.Fprintf(e.stdout, "once, within %d hours:\n  %s\n", int(auth.InvitationLife.Hours()), invited.Link)
	return err
}

func invite(ctx context.Context, e env, data, url string, q server.InviteRequest) (server.Invited, error) {
	console, err := server.OpenConsole(data)
	if errors.Is(err, server.ErrNoServer) {
		out, err := server.InviteFolder(ctx, data, url, q, e.now)
		return out, lockedHint(err)
	}
	return console.Invite(ctx, q)
}
