// Package tabletcore is what a tablet asks its core: a replica, its chart and the reckoning behind one function that takes bytes and gives bytes.
// cmd/needlebook-wasm puts it behind the border of WebAssembly; tests call it as it is.
//
// Use: New makes a core, Call makes one call. A call is a frame of parts: the method's name, its request as JSON, and what is carried beside it as bytes.
// An answer is a frame, too: JSON, and bytes beside it. begin or load comes first, then any other. methods lists them all.
//
// What a call changed comes beside its answer as a block: the rows to put and to delete, in one form (block.go). The host stores the block durably before
// it makes another call, sends anything, or shows a thing as saved. When storing fails it throws the core away and loads a new one from the blocks that
// are stored. load takes all blocks in the order in which they were stored; compact makes one block of many.
//
// Ids, the time and random bytes come with the request. JSON has the names of the schema. A refusal is {"faults": [...]} with reasons of the catalogue
// in place of an answer, and then nothing was changed.
//
// What it promises: the package is pure; the same calls give the same bytes natively and as WebAssembly. No frame makes it panic. A Core is for one
// goroutine and keeps no slice it is given: the host may use one buffer for all calls.
package tabletcore
