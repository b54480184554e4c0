// The plan is a place of the window like the others: as long as it is open, the program stays.

import { listen } from "/window.js";

listen(async () => {});
