// The whole guide behind a code, which a phone may have kept or a host may have published months ago: the phone's own
// clock says when its order had to be reviewed.
"use strict";

const notice = document.getElementById("out-of-date");
const now = new Date();
const today = new Date(now.getTime() - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
if (today > notice.dataset.review) notice.hidden = false;
