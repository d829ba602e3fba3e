// Pages with charts and nothing more.

import { drawAll } from "./charts.js";

await drawAll();
