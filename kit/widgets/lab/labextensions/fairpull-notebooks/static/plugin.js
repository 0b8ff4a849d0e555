// A notebook that carries {"kit": {"autorun": true}} in its metadata opens as a form: it runs
// itself, shows no code, and comes back after its kernel died. All other notebooks are left alone.
import { nameControls } from './naming.js';
import { Order } from './order.js';
import { Runner } from './runner.js';

const SHOW_CODE = new Set(['notebook:show-all-cell-code', 'notebook:show-cell-code']);
const HIDE_CODE = new Set(['notebook:hide-all-cell-code', 'notebook:hide-cell-code']);
const SIDE_TAB_BARS = 'application:toggle-side-tabbar';

export function makePlugin({ INotebookTracker, NotebookActions }) {
  return {
    id: 'fairpull-notebooks:plugin',
    description: 'Opens the fairpull notebooks as forms.',
    autoStart: true,
    requires: [INotebookTracker],
    activate: (app, tracker) => {
      window.addEventListener('keydown', keepKeys, true);
      const adopt = panel => void openAsForm(app, panel, NotebookActions);
      tracker.forEach(adopt);
      tracker.widgetAdded.connect((_, panel) => adopt(panel));
      app.commands.commandExecuted.connect((_, { id }) => {
        const panel = tracker.currentWidget;
        if (SHOW_CODE.has(id)) asNotebook(panel);
        if (HIDE_CODE.has(id)) asForm(panel);
      });
    }
  };
}

async function openAsForm(app, panel, actions) {
  await panel.context.ready;
  if (!panel.content.model?.getMetadata('kit')?.autorun) return;
  panel.addClass('kit-notebook');
  asForm(panel);
  await hideSideBars(app);
  nameControls(panel.content.node);
  new Runner(panel, actions, new Order(panel)).start();
}

// A key pressed on a button or in a box belongs to that control: without this, "d d" on a focused
// button would delete the cell and Enter would open its code instead of pressing the button. The
// mark must stand on the very element that has the focus, before JupyterLab looks at the key.
function keepKeys(event) {
  if (event.target.closest?.('.kit-form .jp-Notebook')) {
    event.target.setAttribute('data-lm-suppress-shortcuts', 'true');
  }
}

function asForm(panel) {
  if (panel?.hasClass('kit-notebook')) panel.addClass('kit-form');
}

// View > Expand All Code gives the plain notebook back.
function asNotebook(panel) {
  panel?.removeClass('kit-form');
}

async function hideSideBars(app) {
  await app.restored;
  for (const side of ['left', 'right']) {
    const { commands } = app;
    if (!commands.hasCommand(SIDE_TAB_BARS)) return;
    if (commands.isToggled(SIDE_TAB_BARS, { side })) {
      await commands.execute(SIDE_TAB_BARS, { side });
    }
  }
}
