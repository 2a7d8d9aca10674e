package main

import "flag"

var update = flag.Bool("update", false, "rewrite what the scripts in testdata compare with")
