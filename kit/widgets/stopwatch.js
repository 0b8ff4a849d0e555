// The stopwatch of a shot. It runs in the browser, so that a busy kernel never delays it. The start
// is kept in the model as a time of day: a second tab and a reloaded page show the same watch.
const BUTTONS = [
  ['start', 'Start', 'kit-main'],
  ['drip', 'First drip', ''],
  ['stop', 'Stop', ''],
  ['reset', 'Reset', '']
];

function render({ model, el }) {
  const face = document.createElement('output');
  face.setAttribute('aria-label', 'Shot time in seconds');
  const drip = document.createElement('span');
  const buttons = {};
  el.classList.add('kit-stopwatch');
  el.append(face);
  for (const [action, label, look] of BUTTONS) {
    const button = document.createElement('button');
    button.type = 'button';
    button.className = `kit-button ${look}`.trim();
    button.textContent = label;
    button.addEventListener('click', () => act[action]());
    buttons[action] = button;
    el.append(button);
  }
  el.append(drip);

  const running = () => model.get('started_ms') > 0 && model.get('shot_time_s') < 0;
  const elapsed = () => tenth((Date.now() - model.get('started_ms')) / 1000);
  const put = values => {
    for (const [name, value] of Object.entries(values)) model.set(name, value);
    model.save_changes();
  };
  const act = {
    start: () => put({ started_ms: Date.now(), first_drip_s: -1, shot_time_s: -1 }),
    drip: () => put({ first_drip_s: elapsed() }),
    stop: () => put({ shot_time_s: elapsed() }),
    reset: () => put({ started_ms: 0, first_drip_s: -1, shot_time_s: -1 })
  };

  let frame = 0;
  const draw = () => {
    cancelAnimationFrame(frame);
    const stopped = model.get('shot_time_s');
    const seconds = running() ? elapsed() : Math.max(stopped, 0);
    face.textContent = `${seconds.toFixed(1)} s`;
    const first = model.get('first_drip_s');
    drip.textContent = first >= 0 ? `First drip at ${first.toFixed(1)} s` : '';
    buttons.start.disabled = running();
    buttons.drip.disabled = !running() || first >= 0;
    buttons.stop.disabled = !running();
    buttons.reset.disabled = model.get('started_ms') === 0;
    if (running()) frame = requestAnimationFrame(draw);
  };
  model.on('change', draw);
  draw();
  return () => cancelAnimationFrame(frame);
}

function tenth(seconds) {
  return Math.round(seconds * 10) / 10;
}

export default { render };
