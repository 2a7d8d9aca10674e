// The page's entry: mounts the shell.

import { render } from "preact";
import { Shell } from "./shell";

const root = document.getElementById("app");
if (root) render(<Shell />, root);
