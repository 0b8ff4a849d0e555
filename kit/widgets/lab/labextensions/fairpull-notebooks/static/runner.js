// Runs a notebook when it opens and again whenever its kernel was replaced. While no kernel
// answers, the page takes no input: whatever is typed then would be lost without a word.
const ASK_MS = 2000;
const PAUSE_MS = 150;
const QUIET_MS = 2000;
const GONE = new Set(['restarting', 'autorestarting', 'dead', 'terminating']);

const STARTING = 'Starting …';
const RESTARTING =
  'The calculation stopped and is being started again. Typing is paused; what was saved is safe.';
const DEAD =
  'The calculation stopped and does not start again by itself. Choose Kernel ▸ Restart Kernel in ' +
  'the menu above. What was saved is safe.';
const OFFLINE =
  'Not connected. Typing is paused; what was saved is safe. If this stays, start the notebooks ' +
  'again and open the link that is printed.';

export class Runner {
  constructor(panel, actions, order) {
    this.panel = panel;
    this.actions = actions;
    this.order = order;
    this.running = false;
    this.wanted = false;
    this.runs = 0;
  }

  start() {
    const session = this.panel.sessionContext;
    this.sayItOurselves();
    session.statusChanged.connect((_, status) => {
      this.sayItOurselves();
      if (GONE.has(status)) void this.run(status === 'dead' ? DEAD : RESTARTING);
    });
    session.kernelChanged.connect((_, { oldValue, newValue }) => {
      if (oldValue && newValue) void this.run(RESTARTING);
    });
    session.connectionStatusChanged.connect((_, status) => this.connection(status));
    void this.run(STARTING);
  }

  // JupyterLab announces a kernel restart in a dialog that must be clicked away, also with wet
  // hands; the banner says the same. Should this private flag go, the dialog is merely back.
  sayItOurselves() {
    this.panel._autorestarting = true;
  }

  connection(status) {
    if (this.running) return; // a restart cuts the connection too, and says so itself
    this.order.forget(); // answers that were on their way when the line was cut never come
    if (status === 'connected') this.thaw();
    else this.freeze(OFFLINE);
  }

  // One run at a time; a kernel that dies during a run asks for another one after it.
  async run(message) {
    this.freeze(message);
    this.wanted = true;
    if (this.running) return;
    this.running = true;
    while (this.wanted && !this.panel.isDisposed) await this.runOnce();
    this.running = false;
    this.thaw();
  }

  async runOnce() {
    const { panel } = this;
    await panel.sessionContext.ready;
    await this.kernelAnswers();
    if (panel.isDisposed) return;
    this.order.forget();
    this.wanted = false; // what died before this answer needs no further run
    await quiet();
    if (panel.isDisposed) return;
    panel.content.activeCellIndex = 0;
    try {
      await this.actions.runAll(panel.content, panel.sessionContext);
    } catch {
      return; // the kernel died under the run: its status asks for the next one
    }
    panel.content.activeCellIndex = 0;
    // The trial is in its own files, not in the notebook: nothing to ask about on leaving.
    panel.context.model.dirty = false;
    this.runs += 1;
  }

  // A status can be a stale message from before the restart; only a fresh answer is proof.
  async kernelAnswers() {
    while (!this.panel.isDisposed) {
      const kernel = this.panel.sessionContext.session?.kernel;
      if (kernel && (await replies(kernel))) return;
      await pause(PAUSE_MS);
    }
  }

  freeze(message) {
    const { panel } = this;
    if (panel.isDisposed) return;
    panel.node.dataset.kit = 'waiting';
    panel.content.node.inert = true;
    if (!this.banner) {
      this.banner = document.createElement('div');
      this.banner.className = 'kit-banner';
      this.banner.setAttribute('role', 'alert');
      panel.node.append(this.banner);
    }
    this.banner.textContent = message;
  }

  thaw() {
    const { panel } = this;
    if (panel.isDisposed) return;
    panel.content.node.inert = false;
    this.banner?.remove();
    this.banner = null;
    panel.node.dataset.kit = 'ready';
    panel.node.dataset.kitRuns = String(this.runs);
  }
}

function pause(ms) {
  return new Promise(resolve => setTimeout(resolve, ms));
}

// Until the page has finished starting, or for two seconds: a widget with a script of its own gives
// up when that script is not running two seconds after it was asked for.
function quiet() {
  if (!window.requestIdleCallback) return Promise.resolve();
  return new Promise(resolve => window.requestIdleCallback(resolve, { timeout: QUIET_MS }));
}

async function replies(kernel) {
  try {
    const reply = await Promise.race([kernel.requestKernelInfo(), pause(ASK_MS)]);
    return reply !== undefined;
  } catch {
    return false;
  }
}
