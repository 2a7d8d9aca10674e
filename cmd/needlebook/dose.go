package main

import "context"

func runDose(_ context.Context, _ env, args []string) error {
	return parseFlags(newFlags("dose"), args)
}
