// The page's entry: mounts the shell.

import "./ui/index.css";
import "@preact/signals";
import { render } from "preact";
import { phase } from "./boot";
import { version } from "./built";
import type { Core } from "./core";
import { Shell } from "./shell";

declare global {
  interface Window {
    /** For support and for tests, at the browser's console: the core of an unlocked tablet, and nothing that the page could not do without it. */
    needlebook: { version: string; core(): Core | undefined };
  }
}

window.needlebook = { version, core: () => (phase.value.at === "open" ? phase.value.core : undefined) };

const root = document.getElementById("app");
if (root) render(<Shell />, root);
