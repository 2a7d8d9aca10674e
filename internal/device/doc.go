// Package device is one enrolled installation without a screen: a folder with a durable store and the device's key, and the way to its server. It is
// the host that package replica asks for: it stores what a replica says is to be stored, sends what it says is to be sent, and tells what changed.
//
// Use: Create makes the folder and enrols the device by a one-time code, or goes on where an earlier try was cut off; Open opens it again. SignIn says
// who works. Edit makes an edit, View and its like show records, Sync exchanges with the server until both are in step. Close it last.
//
// What it promises: an edit is on the disk before Edit returns; an answer is on the disk before anything else is sent; a process that is killed at
// any moment leaves a folder that goes on from there. Unsent edits are never deleted, whatever the server answers, and working offline needs no
// token: a sign-in that ended stops the sync and nothing else. One process has the folder at a time. A Device is for one goroutine.
//
// The store's rows: 'r' and the replica's own key hold what package replica stores, 'p' the further pieces of those above 64 KB, 'h' what this
// package knows of the server, of who is signed in, and of the last exchange, as JSON.
package device
