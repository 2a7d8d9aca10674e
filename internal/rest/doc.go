// Package rest is what REST adds to the calls of the schema: which address is which call, how a refusal looks outside of Connect, the description of it
// all (OpenAPI 3.1), and the pages that show it to a person.
//
// Use: ReadRoutes reads the annotations of the schema once; Find says which call an address is. Document is the description, Pages the handler that
// shows it. What a call means, and who may make it, is in package service: REST goes through the same door as Connect.
//
// Promise: nothing about a patient is ever in an address: what a call says is in its body, and only calls that carry nothing of patients are reached by
// GET. Every refusal is a Problem (RFC 9457) with a reason of the catalogue.
package rest
