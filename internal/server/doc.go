// Package server is the wiring of a Needlebook server: the data folder, the listener, TLS, limits on connections, health and metrics, backups,
// a graceful
// stop. What a call means is in package service.
//
// Use: Open a Server on a Config, print URL and Link, then Serve until the context ends. Starting is recovering: a server that was killed at
// any moment
// opens its folder as one that stopped in order.
//
//	DATA/needlebook.db      the store (package boltstore)
//	DATA/photos/            the photos (package blob)
//	DATA/authority/         the clinic's own certificate authority, when it has one
//	DATA/admin.sock         how console commands speak with a server that runs
//
// Promise: nobody but the server's user can read the folder; no password or key is given by a flag or the environment, or has a default; plain
// HTTP is
// spoken on loopback only, unless the configuration says otherwise.
package server
