"use strict";
// Where the box is out of reach, the page that says so is shown; all else is the box's alone.
const KEPT = "floor-rig";
const SHELL = ["away", "colours.css", "site.css", "icon.svg"];

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(SHELL.map((one) => new Request(one, { cache: "reload" })))));
});

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const request = event.request;
  if (request.method !== "GET") return;
  if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => caches.match("away")));
  else if (SHELL.some((one) => request.url.endsWith(`/${one}`))) event.respondWith(fetch(request).catch(() => caches.match(request, { ignoreSearch: true })));
});
