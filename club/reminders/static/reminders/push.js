// Turning web push on in this browser: asks the person, then the browser, and sends the site where to write.
const form = document.querySelector(".push-add");
if (form && "PushManager" in window && navigator.serviceWorker) {
  form.hidden = false;
  const bytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
  const text = (buffer) =>
    btoa(String.fromCharCode(...new Uint8Array(buffer))).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    try {
      await navigator.serviceWorker.register(form.dataset.worker, { scope: "/", updateViaCache: "none" });
      const { pushManager } = await navigator.serviceWorker.ready;
      const key = bytes(form.dataset.key);
      const given = await pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
      form.elements.endpoint.value = given.endpoint;
      form.elements.p256dh.value = text(given.getKey("p256dh"));
      form.elements.auth.value = text(given.getKey("auth"));
      form.submit();
    } catch {
      form.querySelector(".push-refused").hidden = false;
    }
  });
}
