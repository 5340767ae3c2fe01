// The look somebody chose for this tablet, before anything is drawn.
"use strict";
document.documentElement.dataset.theme = localStorage.getItem("theme") || "auto";
