// A phone that was led here by a picture: its code stands behind # in the address, which is never
// sent. It is put into the form and taken out of the address; pairing is still the person's to do.

const code = location.hash.slice(1);
if (/^[A-Za-z0-9]{8}$/.test(code)) {
  history.replaceState(null, "", location.pathname);
  document.querySelector("#code").value = code;
  document.querySelector("button.main").focus();
}
