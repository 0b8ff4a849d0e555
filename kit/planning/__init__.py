"""What this many shots can tell, before a bean is ground.

In the order of the work: ``variance`` (how noisy shots are, and how we know), ``comparisons`` and
``laid_out`` (what the analysis will compare, in closed form or from any layout), then the chances:
``power``, ``precision``, ``selection``, ``equivalence_power``, ``consistency_power``,
``fault_power``, ``discrimination_power``, ``taste_power``, averaged over uncertain noise by
``assurance``. ``questions`` and ``answers`` put them into the answer table; ``budget`` says what
a plan takes; ``simulation`` and ``slow_findings`` run virtual trials through the real analysis;
``luck`` shows results without any difference; ``plan_page`` is the page to publish.
"""
