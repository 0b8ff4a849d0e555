"""The four notebooks as forms: one panel a notebook, its model apart from its view.

``model.py`` of a panel holds values and rules and knows no widget; ``view.py`` only makes widgets
and links them to the model. What all panels share stands beside them: the base of the models
(``panel_model``) and how typed numbers are read (``entry``), both without widgets; the frame of
the views (``frame``), the style (``theme``), boxes (``fields``), the status line (``status``), what
happens when a callback fails (``guard``), tables, images, long work (``progress``), the stopwatch.
``lab/`` holds what makes JupyterLab open a notebook as a form. ``import kit.widgets`` loads no
widget.
"""
