// All browser tests in one process, so that they share one site. Each file also runs alone.

import "./layout.test.js";
import "./access.test.js";
import "./script.test.js";
import "./paper.test.js";
import "./file.test.js";
import "./fixtures.test.js";
import "./approved.test.js";
import "./board.test.js";
import "./crew.test.js";
import "./bench.test.js";
import "./season.test.js";
import "./others.test.js";
import "./cookbook.test.js";
import "./live.test.js";
import "./arrivals.test.js";
