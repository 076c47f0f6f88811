// The camera of a phone or laptop: frames go to the bench, which reads them; nothing leaves the shop.
import { _ } from "./words.js";

const section = document.getElementById("camera");
// Browsers give the camera only to this computer itself or over https; elsewhere the photo field does the same work.
if (section && window.isSecureContext && navigator.mediaDevices?.getUserMedia) start();

function start() {
  section.hidden = false;
  const video = section.querySelector("video"), said = section.querySelector("[role=status]");
  const go = document.getElementById("camera-start"), stop = document.getElementById("camera-stop");
  const canvas = document.createElement("canvas");
  const LONGEST = 1280, PAUSE_MS = 250;
  let stream = null;

  go.addEventListener("click", async () => {
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 1280 } } });
    } catch (error) {
      said.textContent = error.name === "NotAllowedError" ? _("The browser may not use the camera. Take a photo instead.") : _("No camera can be used here. Take a photo instead.");
      return;
    }
    video.srcObject = stream;
    await video.play();
    go.hidden = true;
    stop.hidden = false;
    said.textContent = _("Looking for a code…");
    look();
  });
  stop.addEventListener("click", end);
  addEventListener("pagehide", end);

  function end() {
    stream?.getTracks().forEach((track) => track.stop());
    stream = null;
    go.hidden = false;
    stop.hidden = true;
    said.textContent = _("The camera is off.");
  }

  async function look() {
    while (stream) {
      const scale = Math.min(1, LONGEST / Math.max(video.videoWidth, video.videoHeight, 1));
      canvas.width = Math.max(1, Math.round(video.videoWidth * scale));
      canvas.height = Math.max(1, Math.round(video.videoHeight * scale));
      canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
      const frame = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.85));
      const form = new FormData();
      form.append("frame", frame, "frame.jpg");
      try {
        const answer = await fetch("/scan/frame", { method: "POST", body: form });
        const { number, words, error } = await answer.json();
        if (!stream) return;
        said.textContent = error ?? words;
        if (number) {
          end();
          location.assign(`/scan?number=${encodeURIComponent(number)}`);
          return;
        }
      } catch {
        said.textContent = _("The bench does not answer; still trying.");
      }
      await new Promise((done) => setTimeout(done, PAUSE_MS));
    }
  }
}
