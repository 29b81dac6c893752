// The camera of the page that reads codes. Pictures go nowhere but to this site, and only where the browser has no
// detector of its own; without this file the picture is a file of the form, and the code is typed.
(() => {
  "use strict";
  const box = document.getElementById("camera");
  const photo = document.getElementById("id_photo");
  const video = box.querySelector("video");
  const says = box.querySelector(".camera-says");
  const button = (name) => box.querySelector(`[data-does="${name}"]`);
  const EVERY = 200; // milliseconds from look to look
  const LONGEST = 1600; // pixels of a picture that is sent
  let stream = null;
  let detector = null;

  photo.addEventListener("change", () => {
    if (photo.files.length) photo.form.requestSubmit();
  });
  if (!navigator.mediaDevices || !navigator.mediaDevices.getUserMedia) return;
  box.hidden = false;

  async function ownDetector() {
    if (!("BarcodeDetector" in window)) return null;
    try {
      const formats = await BarcodeDetector.getSupportedFormats();
      return formats.includes("qr_code") ? new BarcodeDetector({ formats: ["qr_code"] }) : null;
    } catch {
      return null;
    }
  }

  function show(isOn) {
    video.hidden = !isOn;
    button("start").hidden = isOn;
    button("stop").hidden = !isOn;
    button("read").hidden = !isOn || detector !== null;
  }

  function stop() {
    if (stream) for (const track of stream.getTracks()) track.stop();
    stream = null;
    show(false);
  }

  async function start() {
    try {
      detector = await ownDetector();
      stream = await navigator.mediaDevices.getUserMedia({
        video: { facingMode: { ideal: "environment" }, width: { ideal: 1280 } },
      });
      video.srcObject = stream;
      await video.play();
    } catch {
      stop();
      says.textContent = box.dataset.refused;
      return;
    }
    show(true);
    says.textContent = detector ? box.dataset.looking : box.dataset.press;
    if (detector) look();
  }

  async function look() {
    if (!stream) return;
    let codes = [];
    try {
      codes = await detector.detect(video);
    } catch {
      // A detector that is there and cannot look: the server reads the picture.
      detector = null;
      show(true);
      says.textContent = box.dataset.press;
      return;
    }
    const texts = new Set(codes.map((code) => code.rawValue));
    if (texts.size === 1) {
      says.textContent = box.dataset.found;
      const [text] = texts;
      stop();
      location.assign(`${box.dataset.page}?code=${encodeURIComponent(text)}`);
      return;
    }
    says.textContent = texts.size ? box.dataset.several : box.dataset.looking;
    setTimeout(look, EVERY);
  }

  function read() {
    const scale = Math.min(1, LONGEST / Math.max(video.videoWidth, video.videoHeight));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(video.videoWidth * scale);
    canvas.height = Math.round(video.videoHeight * scale);
    canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
    canvas.toBlob(
      (picture) => {
        const files = new DataTransfer();
        files.items.add(new File([picture], "code.jpg", { type: "image/jpeg" }));
        photo.files = files.files;
        stop();
        photo.form.requestSubmit();
      },
      "image/jpeg",
      0.9,
    );
  }

  button("start").addEventListener("click", start);
  button("stop").addEventListener("click", () => {
    stop();
    says.textContent = "";
    button("start").focus();
  });
  button("read").addEventListener("click", read);
  window.addEventListener("pagehide", stop);
})();
